"""Measure one part of a lot, led by the parts before it."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

from ...analysis.errors import AnalysisError
from ...analysis.quantity import Caution
from ...analysis.reading import Reading
from ...analysis.result import Result
from ...analysis.tank import REFERENCE
from ..errors import EdgeError, GuardError, NoResonanceError, SweepError
from ..procedures import (
    CapacitorJob,
    KnownParts,
    measure_capacitor,
    measure_coil,
    tank_with,
)
from ..run import (
    Arrangement,
    Attendant,
    Expected,
    IdentifiedBench,
    KnownCapacitor,
    NullSink,
    Progress,
    Session,
    Sink,
    Steps,
    Stored,
)
from .file import LotFile
from .prior import LedSpan, PriorBook

__all__ = ["Measured", "PartBench"]

NO_RESONANCE = "no_resonance"


class Collected:
    """The sink that remembers every reading by step, and passes it on."""

    def __init__(self, onwards: Sink, *, part: str) -> None:
        self._onwards, self._part = onwards, part
        self._steps: dict[str, list[Reading]] = {}

    @property
    def readings(self) -> dict[str, tuple[Reading, ...]]:
        """Every reading, by step."""
        return {step: tuple(some) for step, some in self._steps.items() if some}

    def reading(self, reading: Reading, *, progress: Progress) -> None:
        """Remember it and pass it on."""
        self._steps.setdefault(progress.step, []).append(reading)
        self._onwards.reading(reading, progress=replace(progress, part=self._part))

    def taken_back(self, reading: Reading) -> None:
        """Forget it and pass that on."""
        for some in self._steps.values():
            if some and some[-1] is reading:
                some.pop()
        self._onwards.taken_back(reading)

    def result(self, result: Result) -> None:
        """Pass it on."""
        self._onwards.result(result)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Measured:
    """What came of measuring one part.

    Attributes
    ----------
    begun
        When (ISO 8601, UTC).
    result
        None where the part cannot be measured.
    failure
        Why it cannot.
    readings
        Every reading by step.
    """

    begun: str
    result: Result | None
    failure: Caution | None
    readings: dict[str, tuple[Reading, ...]]

    @property
    def no_resonance(self) -> bool:
        """Whether the part, or its contact, is likely open or shorted."""
        return self.failure is not None and self.failure.code == NO_RESONANCE


@dataclass(slots=True, kw_only=True)
class PartBench:
    """An open bench that measures one part after the other.

    Attributes
    ----------
    bench
        An open bench.
    lot
        What to measure, and how.
    attendant
        Changes what is on the fixture besides the part.
    now
        Says what time it is (ISO 8601, UTC).
    sink
        Gets every reading as it is taken.
    book
        What the parts before were like.
    """

    bench: IdentifiedBench
    lot: LotFile
    attendant: Attendant
    now: Callable[[], str]
    sink: Sink = field(default_factory=NullSink)
    book: PriorBook = field(default_factory=PriorBook)
    _reference: tuple[Reading, ...] = ()

    def measure(self, label: str, *, leading: bool = True) -> Measured:
        """Measure what is on the fixture.

        Parameters
        ----------
        label
            What it is called.
        leading
            Whether it is one of the lot, like those before and a guide to those after.

        Raises
        ------
        GuardError, SettingError, DriverError
            The output is off by then.
        """
        begun, collected = self.now(), Collected(self.sink, part=label)
        session = Session(
            label=label,
            begun=begun,
            sink=collected,
            attendant=self.attendant,
            stored={REFERENCE: Stored(self._reference, finished=True)}
            if self._reference
            else {},
        )
        result, failure = None, None
        try:
            result = _unjudged(self._procedure(session, leading=leading))
        except GuardError:
            raise
        except (SweepError, AnalysisError) as error:
            failure = Caution(code=_code_of(error), text=str(error))
        else:
            found = result.evidence.sweeps[-1].found
            if leading:
                self.book.add(found.resonant_frequency_hz, found.loaded_q)
        return Measured(
            begun=begun, result=result, failure=failure, readings=collected.readings
        )

    def take_reference(self) -> None:
        """Sweep the tank without a part, where the procedure needs that.

        A tank drifts: what is subtracted from the parts is not for ever.

        Raises
        ------
        SweepError, GuardError, SettingError, DriverError
            The output is off by then.
        """
        if self.lot.lot.procedure == "coil":
            return
        steps = Steps(self.bench, attendant=self.attendant, sink=self.sink)
        capacitor = self._known
        swept = steps.sweep(
            Arrangement(
                step=REFERENCE,
                instruction="Put the work coil on the fixture as it is to stay"
                + (f", the {capacitor.name} capacitor across it" if capacitor else "")
                + ", and take any part off.",
                fitted=("coil", "strap") + (("capacitor",) if capacitor else ()),
            ),
            self._span(leading=False),
            tank=tank_with(
                self.bench,
                capacitor=capacitor,
                self_capacitance_f=self.lot.measure.self_capacitance,
            ),
        )
        self._reference = swept.readings

    @property
    def _known(self) -> KnownCapacitor | None:
        table = self.lot.measure
        if table.capacitor is None:
            return None
        return KnownCapacitor(capacitance_f=table.capacitor, loss=table.capacitor_loss)

    def _span(self, *, leading: bool) -> LedSpan:
        table = self.lot.measure
        return LedSpan(
            lowest_hz=table.lowest_hz,
            highest_hz=table.highest_hz,
            target=table.target,
            most_readings=table.most_readings,
            prior=self.book.prior if leading else None,
        )

    def _procedure(self, session: Session, *, leading: bool) -> Result:
        span, capacitor = self._span(leading=leading), self._known
        if self.lot.lot.procedure == "coil":
            known = KnownParts(
                capacitors=() if capacitor is None else (capacitor,),
                self_capacitance_f=self.lot.measure.self_capacitance,
            )
            return measure_coil(self.bench, span, known=known, session=session)
        return self._capacitor(span, tank=capacitor, session=session)

    def _capacitor(
        self, span: LedSpan, *, tank: KnownCapacitor | None, session: Session
    ) -> Result:
        expected = self.lot.measure.expected
        return measure_capacitor(
            self.bench,
            replace(span, not_within_hz=(span.lowest_hz, span.highest_hz)),
            job=CapacitorJob(
                tank=tank,
                self_capacitance_f=self.lot.measure.self_capacitance,
                method="parallel",
                expected_f=None if expected is None else Expected(value=expected),
            ),
            session=session,
        )


def _unjudged(result: Result) -> Result:
    """Take a verdict back: a lot's parts are judged by its limits alone.

    What a part was expected to be told where to look; how it compares is a remark.
    """
    said = (one.text for one in result.judged)
    return replace(result, judged=(), remarks=(*result.remarks, *said))


def _code_of(error: SweepError | AnalysisError) -> str:
    if isinstance(error, NoResonanceError | EdgeError):
        return NO_RESONANCE
    return "readings_spent" if isinstance(error, SweepError) else "no_value"
