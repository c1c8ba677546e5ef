"""`halfpower sweep`: whatever resonates on the fixture."""

from .setup import Setup, measures

__all__ = ["sweep"]


@measures
def sweep(
    *,
    setup: Setup,
) -> None:
    """Find and measure whatever resonates between two frequencies.

    Example: halfpower sweep --bench bench.toml --from 5MHz --to 10MHz
    """
    from ..sweeps.sweep import measure_resonance
    from .output import hand_out

    span = setup.span()
    wanted = setup.wanted()
    with setup.measuring("sweep", job=span) as (on_bench, session):
        result = measure_resonance(on_bench, span, session=session)
    hand_out(result, wanted)
