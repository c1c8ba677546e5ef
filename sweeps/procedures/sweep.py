"""Find and measure whatever resonates on the fixture."""

from ...analysis.quantity import Stated, describe
from ...analysis.result import Result
from ..run import (
    Arrangement,
    IdentifiedBench,
    Session,
    Span,
    settings_of,
    tank_on_bench,
)

__all__ = ["measure_resonance"]

# Nothing is known across the tank but the fixture itself: the least capacitance, so
# the highest voltage.
NOTHING = Stated(value=0.0)


def measure_resonance(
    bench: IdentifiedBench, span: Span, *, session: Session | None = None
) -> Result:
    """Find and measure the resonance of whatever is on the fixture.

    Parameters
    ----------
    bench
        An open bench.
    span
        Where to look and how closely to measure.
    session
        Where the readings go; what was read before.

    Raises
    ------
    SweepError, GuardError, SettingError, DriverError
        See `halfpower.sweeps.run.Steps.sweep`.
    """
    session = session or Session()
    tank = tank_on_bench(
        bench.file,
        capacitor_f=NOTHING,
        capacitor_loss=NOTHING,
        self_capacitance_f=NOTHING,
    )
    steps = session.steps(bench)
    low, high = (
        describe(Stated(value=edge_hz), unit="Hz")
        for edge_hz in (span.lowest_hz, span.highest_hz)
    )
    as_it_is = Arrangement(
        step="",
        instruction=f"What is on the fixture will be driven as it is, from {low} to "
        f"{high}.",
        fitted=(),
    )
    swept = steps.sweep(as_it_is, span, tank=tank)
    return session.conclude(
        bench,
        procedure="sweep",
        quantities=swept.quantities,
        warnings=steps.cautions,
        settings=settings_of(bench.file, tank=tank, span=span),
        sweeps=(swept,),
    )
