"""How a capacitor is to be measured, and how its result is put together."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from ...analysis.errors import InputError
from ...analysis.quantity import Caution, Judgement, Quantity, Stated
from ...analysis.result import Condition, Result, Swept
from ...analysis.tank import bound_of
from ..run import (
    Expected,
    IdentifiedBench,
    KnownCapacitor,
    Session,
    compared,
)
from .marked import Marked
from .work_coil import bounded

__all__ = ["METHODS", "CapacitorJob", "CapacitorMethod", "capacitor_result"]

CapacitorMethod = Literal["auto", "parallel", "series", "dial"]
METHODS: tuple[CapacitorMethod, ...] = ("auto", "parallel", "series", "dial")


@dataclass(frozen=True, slots=True, kw_only=True)
class CapacitorJob:
    """How a capacitor is to be measured, and what is known.

    Attributes
    ----------
    tank
        The known capacitor that stays across the coil; None: the fixture alone.
    self_capacitance_f
        The work coil's, in F; None: that of a usual single-layer coil.
    method
        ``parallel`` (across the tank), ``series`` (with the coil), ``dial`` (a variable
        capacitor at one frequency), ``auto``: across the tank, and in series if it
        turns out large.
    expected_f
        What it was marked or predicted to be.
    frequency_hz
        For ``dial``: the frequency, in Hz.
    marked
        What is printed on it.
    """

    tank: KnownCapacitor | None = None
    self_capacitance_f: Stated | None = None
    method: CapacitorMethod = "auto"
    expected_f: Expected | None = None
    frequency_hz: float | None = None
    marked: Marked | None = None

    def __post_init__(self) -> None:
        """Refuse a job that cannot be."""
        if (self.method == "dial") != (self.frequency_hz is not None):
            raise InputError(
                "the method with a dial works at one frequency, the others sweep: give "
                "--at FREQUENCY with it, and only with it"
            )
        if self.method == "dial" and self.tank is not None:
            raise InputError(
                "with the method 'dial' the variable capacitor is the tank's; leave "
                "--tank out"
            )


def capacitor_result(
    bench: IdentifiedBench,
    *,
    job: CapacitorJob,
    session: Session,
    deduced: Sequence[Quantity],
    sweeps: Sequence[Swept],
    settings: Sequence[Condition],
    warnings: Sequence[Caution],
    remarks: Sequence[str],
) -> Result:
    """Put a capacitor's result together; a loss that is not resolved is a limit."""
    loss = next(one for one in deduced if one.name == "dissipation_factor")
    resolved = bound_of(loss) is None
    quantities = (
        tuple(deduced)
        if resolved
        else bounded(deduced, losses=("dissipation_factor", "series_resistance"))
    )
    return session.conclude(
        bench,
        procedure="capacitor",
        quantities=quantities,
        warnings=(*warnings, *_unresolved(resolved=resolved)),
        settings=settings,
        sweeps=sweeps,
        remarks=remarks,
        judged=_judged(quantities, job=job),
    )


def _unresolved(*, resolved: bool) -> tuple[Caution, ...]:
    if resolved:
        return ()
    return (
        Caution(
            code="loss_not_resolved",
            text="the unknown's loss cannot be told from the tank's own: a limit is "
            "given instead of a value; a better coil, looser coupling or a closer "
            "knowledge of the tank would resolve it",
        ),
    )


def _judged(
    quantities: Sequence[Quantity], *, job: CapacitorJob
) -> tuple[Judgement, ...]:
    """Hold what the capacitor was said to be against what it is."""
    one = next(q for q in quantities if q.name == "capacitance")
    low, high = one.limits
    said = [] if job.marked is None else [job.marked.judge(one)]
    if job.expected_f is not None:
        said.append(
            compared(
                "capacitance",
                value=one.value,
                half_width=max(high - one.value, one.value - low),
                unit="F",
                expected=job.expected_f,
            )
        )
    return tuple(said)
