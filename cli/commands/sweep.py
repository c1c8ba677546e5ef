"""`halfpower sweep`: whatever resonates on the fixture."""

from ..at_bench import Setup, measures

__all__ = ["sweep"]


@measures
def sweep(
    *,
    setup: Setup,
) -> None:
    """Find and measure whatever resonates between two frequencies.

    Example: halfpower sweep --bench bench.toml --from 5MHz --to 10MHz
    """
    from ...analysis.errors import InputError
    from ...sweeps.procedures import measure_resonance
    from ..words import hand_out

    if setup.hookup is not None:
        raise InputError(
            "a sweep takes the fixture as it is, and has no hook-up to draw; leave "
            "--hookup out"
        )
    span = setup.span()
    wanted = setup.wanted()
    with setup.measuring("sweep", job={"span": span}) as (on_bench, session):
        result = measure_resonance(on_bench, span, session=session)
    hand_out(result, wanted)
