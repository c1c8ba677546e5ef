"""Find and measure whatever resonates on the fixture."""

from ..analysis.corrected import RESONANCE_UNITS, deduce_resonance
from ..analysis.outcome import cautions_of, quantities_of
from ..analysis.result import Result
from ..analysis.stated import Stated
from .on_bench import (
    IdentifiedBench,
    Span,
    collect_evidence,
    sweep_tank,
    tank_on_bench,
    target_cautions,
)
from .sink import NullSink, Sink

__all__ = ["measure_resonance"]


def measure_resonance(
    bench: IdentifiedBench,
    span: Span,
    *,
    label: str = "",
    begun: str = "",
    sink: Sink | None = None,
) -> Result:
    """Find and measure the resonance of whatever is on the fixture.

    Parameters
    ----------
    bench
        An open bench.
    span
        Where to look and how closely to measure.
    begun
        When the measurement begins (ISO 8601, UTC), for the evidence.
    label
        What the part is called.
    sink
        Gets every reading as it is taken, and the result; None: nobody does, but the
        result carries them all.

    Raises
    ------
    SweepError, GuardError, SettingError, DriverError
        See `sweep_tank`.
    """
    # Nothing is known across the tank but the fixture itself: the least capacitance,
    # so the highest voltage.
    nothing = Stated(value=0.0)
    tank = tank_on_bench(
        bench.file,
        capacitor_f=nothing,
        capacitor_loss=nothing,
        self_capacitance_f=nothing,
    )
    sink = sink or NullSink()
    planner = sweep_tank(bench, span, tank=tank, sink=sink)
    deduced = deduce_resonance(
        planner.resonance,
        frequency_reference=tank.frequency_reference,
        linearity=tank.linearity,
        loss_exponent=tank.loss_exponent,
    )
    result = Result(
        procedure="sweep",
        label=label,
        quantities=quantities_of(deduced, units=RESONANCE_UNITS),
        warnings=(*cautions_of(planner.resonance), *target_cautions(planner)),
        evidence=collect_evidence(bench, span, tank=tank, planner=planner, begun=begun),
    )
    sink.result(result)
    return result
