"""Measure a coil: on one known capacitor, on several, or on none."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from ...analysis.errors import InputError
from ...analysis.fitting import LARGEST_Q_DOUBT
from ...analysis.quantity import Caution, Judgement, Quantity, Stated, describe
from ...analysis.result import Result, Swept
from ...analysis.tank import (
    Tank,
    capacitors_stated,
    deduce_coil,
    deduce_coil_line,
    measured_pair,
    misfit,
)
from ..run import (
    AROUND,
    MOST_SHARE,
    ON_SEVERAL,
    Arrangement,
    Expected,
    IdentifiedBench,
    KnownCapacitor,
    Session,
    Span,
    Steps,
    assumed_loss,
    assumed_self_capacitance,
    compared,
    conditions,
    expected_span,
    settings_of,
)
from .marked import Marked
from .work_coil import on_each_capacitor, tank_with

__all__ = ["KnownParts", "coil_span", "measure_coil"]

MISFIT = 1e-3  # a chance below which points are off a line


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownParts:
    """What is known besides the fixture.

    Attributes
    ----------
    capacitors
        The resonating capacitors, one after the other; none: the coil resonates with
        itself and the fixture.
    self_capacitance_f
        The coil's, in F; None: that of a usual single-layer coil, or, with several
        capacitors, what the measurement says.
    common_error
        Limits of a relative error that the capacitors share.
    expected_h
        What the coil was marked or predicted to be.
    marked
        What is printed on it.
    levels_v
        Levels to measure at besides, in V r.m.s. of e.m.f.: how a coil depends on the
        drive.
    """

    capacitors: tuple[KnownCapacitor, ...] = ()
    self_capacitance_f: Stated | None = None
    common_error: float = 0.0
    expected_h: Expected | None = None
    marked: Marked | None = None
    levels_v: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        """Refuse parts that cannot be."""
        own = self.self_capacitance_f
        for one in self.capacitors:
            if own is not None and own.value >= one.capacitance_f.value:
                raise InputError(
                    f"a self-capacitance of {own.value:g} F is not between 0 and the "
                    f"resonating capacitor's {one.capacitance_f.value:g} F; above it "
                    "the coil would resonate by itself"
                )
        if own is not None and own.value < 0.0:
            raise InputError(f"a self-capacitance of {own.value:g} F cannot be")
        self._refuse_capacitors()
        self._refuse_levels()

    def _refuse_capacitors(self) -> None:
        names = [one.name for one in self.capacitors]
        if len(set(names)) < len(names):
            raise InputError(
                f"two of the known capacitors are {max(names, key=names.count)}; take "
                "different ones"
            )
        if not 0.0 <= self.common_error < MOST_SHARE:
            raise InputError(
                f"a common error of {100.0 * self.common_error:g} % is not between 0 "
                f"and {100.0 * MOST_SHARE:g} %"
            )
        if self.common_error and len(self.capacitors) < 2:  # noqa: PLR2004 - shared
            raise InputError(
                "a common error is shared by several capacitors; name them"
            )

    def _refuse_levels(self) -> None:
        if len(set(self.levels_v)) < len(self.levels_v):
            raise InputError("two of the levels are the same; take different ones")
        for level_v in self.levels_v:
            if not 0.0 < level_v < math.inf:
                raise InputError(f"a level of {level_v:g} V cannot be set")
        if self.levels_v and len(self.capacitors) > 1:
            raise InputError(
                "the dependence on the drive is measured on one capacitor; name one"
            )


def coil_span(inductance_h: float, *, known: KnownParts) -> tuple[float, float]:
    """Give a span in Hz that holds the resonance on the first known capacitor.

    Raises
    ------
    InputError
        There is none: where a coil resonates by itself is not to be foretold from its
        inductance.
    """
    if not known.capacitors:
        raise InputError(
            "without a capacitor an expected inductance gives no span; say where to "
            "look: --from FREQUENCY --to FREQUENCY"
        )
    first = known.capacitors[0]
    return expected_span(inductance_h, capacitance_f=first.capacitance_f.value)


def measure_coil(
    bench: IdentifiedBench,
    span: Span,
    *,
    known: KnownParts,
    session: Session | None = None,
) -> Result:
    """Measure a coil's inductance, Q and resistances.

    On one known capacitor (or on none, with what the fixture has) the self-capacitance
    is taken as stated; on several it is measured too, and Q at each of them.

    Parameters
    ----------
    bench
        An open bench.
    span
        Where to look on the first capacitor, and how closely to measure.
    known
        The capacitors, and what is known of the coil.
    session
        Who is there, and where the readings go.

    Raises
    ------
    AnalysisError
        The readings do not bear a value for the coil.
    SweepError, GuardError, SettingError, DriverError
        See `halfpower.sweeps.run.Steps.sweep`.
    """
    session = session or Session()
    steps = session.steps(bench)
    if len(known.capacitors) > 1:
        return _on_several(bench, span, known=known, session=session, steps=steps)
    return _on_one(bench, span, known=known, session=session, steps=steps)


# One capacitor, or none -------------------------------------------------------------


def _on_one(
    bench: IdentifiedBench,
    span: Span,
    *,
    known: KnownParts,
    session: Session,
    steps: Steps,
) -> Result:
    capacitor = known.capacitors[0] if known.capacitors else None
    tank = tank_with(
        bench, capacitor=capacitor, self_capacitance_f=known.self_capacitance_f
    )
    fitted = ("coil", "strap") + (() if capacitor is None else ("capacitor",))
    swept = steps.sweep(
        Arrangement(
            step="",
            instruction="Put the coil on the fixture by itself, without a capacitor."
            if capacitor is None
            else f"Put the coil on the fixture with the {capacitor.name} capacitor "
            "across it, and take any other off.",
            fitted=fitted,
            hookup="coil-alone" if capacitor is None else "coil",
        ),
        span,
        tank=tank,
        deduce=lambda found: deduce_coil(tank, measured=measured_pair(found)),
    )
    quantities = swept.quantities
    driven = [
        _at_level(steps, swept, level_v, span=span, tank=tank, fitted=fitted)
        for level_v in known.levels_v
    ]
    assumed = [] if known.self_capacitance_f else [assumed_self_capacitance()]
    if capacitor is not None and capacitor.loss is None:
        assumed.append(assumed_loss())
    return session.conclude(
        bench,
        procedure="coil",
        quantities=quantities,
        warnings=(*steps.cautions, *assumed, *_doubtful_q(quantities)),
        settings=settings_of(bench.file, tank=tank, span=span),
        sweeps=(swept, *driven),
        remarks=_drive_remarks(driven),
        judged=_judged(quantities, known=known),
    )


def _at_level(
    steps: Steps,
    first: Swept,
    level_v: float,
    *,
    span: Span,
    tank: Tank,
    fitted: tuple[str, ...],
) -> Swept:
    """Sweep about the resonance again, at another level."""
    shown = describe(Stated(value=level_v), unit="V")
    f0 = first.found.resonant_frequency_hz
    return steps.sweep(
        Arrangement(
            step=f"at {shown}",
            instruction="",
            fitted=fitted,
        ),
        replace(
            span,
            lowest_hz=max(span.lowest_hz, AROUND[0] * f0),
            highest_hz=min(span.highest_hz, AROUND[1] * f0),
            level_v=level_v,
        ),
        tank=tank,
        deduce=lambda found: deduce_coil(tank, measured=measured_pair(found)),
    )


def _drive_remarks(driven: Sequence[Swept]) -> tuple[str, ...]:
    if len(driven) < 2:  # noqa: PLR2004 - a comparison
        return ()
    low, high = driven[0], driven[-1]
    if any(one.found.response != low.found.response for one in driven):
        return (
            (
                "At the higher levels the peak is no resonance curve any more (a core "
                "that saturates makes it lean over): Q is not compared over the drive."
            ),
        )
    peaks = f"{low.found.amplitude_v:.3g} and {high.found.amplitude_v:.3g} V"
    changes = []
    for name, word in (("inductance", "the inductance"), ("unloaded_q", "the Q")):
        one, two = (_named(swept.quantities, name) for swept in (low, high))
        changes.append(f"{word} by {100.0 * (two.value / one.value - 1.0):+.2g} %")
    return (
        (
            f"From {low.step.removeprefix('at ')} to {high.step.removeprefix('at ')} "
            f"of e.m.f. (peaks of {peaks} at the detector) {changes[0]}, {changes[1]}."
        ),
    )


# Several capacitors -----------------------------------------------------------------


def _on_several(
    bench: IdentifiedBench,
    span: Span,
    *,
    known: KnownParts,
    session: Session,
    steps: Steps,
) -> Result:
    sweeps, points = on_each_capacitor(
        bench,
        span,
        capacitors=known.capacitors,
        self_capacitance_f=known.self_capacitance_f,
        steps=steps,
        arranged=_across_the_coil,
    )
    tank = tank_with(bench, capacitor=None, self_capacitance_f=known.self_capacitance_f)
    common = Stated.within(0.0, half_width=known.common_error)
    found = deduce_coil_line(tank, points=points, common=common)
    own = tuple(one for one in found if "," not in one.name)
    chance = misfit(tank, points=points)
    assumed = [assumed_loss()] if any(c.loss is None for c in known.capacitors) else []
    return session.conclude(
        bench,
        procedure="coil",
        quantities=(*own, *_of_step(found, points[0].step)),
        warnings=(*steps.cautions, *_off_the_line(chance), *assumed, *_negative(own)),
        settings=(
            *settings_of(bench.file, tank=tank, span=span, left_out=ON_SEVERAL),
            *conditions(capacitors_stated(points, common=common)),
        ),
        sweeps=[
            replace(swept, quantities=swept.quantities + _of_step(found, swept.step))
            for swept in sweeps
        ],
        remarks=(
            *_self_agreement(own, known=known),
            (
                f"Q and series resistance are those at {points[0].step}; the others "
                "stand beside each sweep."
            ),
        ),
        judged=_judged(own, known=known),
    )


def _across_the_coil(capacitor: KnownCapacitor, place: str) -> Arrangement:
    return Arrangement(
        step=capacitor.name,
        instruction=f"Put the {capacitor.name} capacitor across the coil, and "
        "take any other off.",
        fitted=("coil", "strap", place),
        hookup="coil",
    )


def _of_step(found: Sequence[Quantity], step: str) -> tuple[Quantity, ...]:
    ending = f", {step}"
    return tuple(
        replace(one, name=one.name.removesuffix(ending))
        for one in found
        if one.name.endswith(ending)
    )


def _off_the_line(chance: float | None) -> tuple[Caution, ...]:
    if chance is None or chance > MISFIT:
        return ()
    return (
        Caution(
            code="off_the_line",
            text="the resonances do not lie on a straight line over the capacitors as "
            "they are stated: one is not what it is said to be, has leads of its own, "
            "or the coil has a second resonance",
        ),
    )


def _negative(own: Sequence[Quantity]) -> tuple[Caution, ...]:
    capacitance = _named(own, "self_capacitance")
    low, high = capacitance.limits
    if low > 0.0:
        return ()
    ending = (
        "the fixture's stray is stated too large, or a capacitor too small"
        if high < 0.0
        else "the capacitors are too uncertain to resolve it; smaller ones, or closer "
        "known, would"
    )
    return (
        Caution(
            code="self_capacitance_unresolved",
            text="the self-capacitance does not stand out of its uncertainty: "
            + ending,
        ),
    )


# Both -------------------------------------------------------------------------------


def _named(quantities: Sequence[Quantity], name: str) -> Quantity:
    return next(one for one in quantities if one.name == name)


def _half_width(quantity: Quantity) -> float:
    low, high = quantity.limits
    return max(high - quantity.value, quantity.value - low)


def _judged(
    quantities: Sequence[Quantity], *, known: KnownParts
) -> tuple[Judgement, ...]:
    """Hold what the coil was said to be against what it is."""
    inductance = _named(quantities, "inductance")
    said = [] if known.marked is None else [known.marked.judge(inductance)]
    if known.expected_h is not None:
        said.append(
            compared(
                "inductance",
                value=inductance.value,
                half_width=_half_width(inductance),
                unit="H",
                expected=known.expected_h,
            )
        )
    return tuple(said)


def _self_agreement(own: Sequence[Quantity], *, known: KnownParts) -> tuple[str, ...]:
    if known.self_capacitance_f is None:
        return ()
    capacitance = _named(own, "self_capacitance")
    return (
        compared(
            "self-capacitance",
            value=capacitance.value,
            half_width=_half_width(capacitance),
            unit="F",
            expected=Expected(value=known.self_capacitance_f, said_by="stated"),
        ).text,
    )


def _doubtful_q(quantities: Sequence[Quantity]) -> tuple[Caution, ...]:
    quality = _named(quantities, "unloaded_q")
    low, _ = quality.limits
    if quality.standard_uncertainty < LARGEST_Q_DOUBT * quality.value and low > 0.0:
        return ()
    return (
        Caution(
            code="unloaded_q_doubtful",
            text="the fixture's own loading hides the coil's loss: its unloaded Q is "
            "uncertain by a third of itself or more; state the probe and the "
            "capacitor's loss more closely, or couple more loosely",
        ),
    )
