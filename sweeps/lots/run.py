"""Go through a lot: present, measure, decide, keep, one part after the other.

Who presents the parts (`Desk`), who keeps what was found (`Keeper`) and who shows it
(`Display`) is given; what is kept of a part is safe before the next is presented.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import count
from typing import Literal, Protocol

from ...analysis.lots import Verdict
from ...analysis.quantity import Caution
from ..errors import NoResonanceError
from .check import CheckBook
from .file import LotFile
from .measure import Measured, PartBench
from .outcome import CheckOutcome, Outcome, Part, decided

__all__ = [
    "Contact",
    "Desk",
    "Display",
    "Keeper",
    "LotRun",
    "Presented",
    "Standing",
    "Wish",
]

Wish = Literal["measure", "again", "skip", "undo", "stop", "end"]
Contact = Literal["go_on", "again", "stop"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Presented:
    """What whoever is at the bench wants next.

    Attributes
    ----------
    wish
        ``measure``: the part is in; ``again``: the last one is, once more; ``skip``:
        leave this one out; ``undo``: the last one's result is not to count, it will
        be put in again; ``stop``: no more.
    label
        What the part is called, where it was typed or scanned.
    """

    wish: Wish = "measure"
    label: str = ""


class Desk(Protocol):
    """Whoever presents the parts."""

    def present(self, part: Part, *, last: Part | None, checked: str = "") -> Presented:
        """Have a part put in; the generator's output was switched off.

        ``checked`` is the check standard, where that and no part was measured last.
        """
        ...

    def present_check(self, standard: str) -> bool:
        """Have the check standard put in; False: stop."""
        ...

    def contact_doubted(self, n: int) -> Contact:
        """Ask whether n parts without a resonance are the fixture's fault."""
        ...


class Keeper(Protocol):
    """Whoever keeps what was found; it is safe when these return."""

    def claim(self, standing: "Standing") -> int:
        """Take the next position for this run, and note what others have done."""
        ...

    def keep(self, outcome: Outcome) -> int:
        """Keep a part; return the position it got."""
        ...

    def keep_check(self, outcome: CheckOutcome) -> int:
        """Keep a check standard's reading; return how many parts it makes suspect."""
        ...


class Display(Protocol):
    """Whoever shows it."""

    def part(self, outcome: Outcome, *, done: int, total: int | None) -> None:
        """Show a part's verdict."""

    def check(self, outcome: CheckOutcome, *, suspect: int) -> None:
        """Show a check standard's reading."""

    def note(self, text: str) -> None:
        """Say something that is to be known."""


@dataclass(slots=True, kw_only=True)
class Standing:
    """Where a lot stands.

    Attributes
    ----------
    known
        The verdicts so far by position.
    labels
        The labels by position.
    since_check
        Parts since the check standard was read; None: it never was.
    """

    known: dict[int, Verdict] = field(default_factory=dict)
    labels: dict[int, str] = field(default_factory=dict)
    since_check: int | None = None

    @property
    def done(self) -> int:
        """How many positions are dealt with."""
        return sum(one is not Verdict.UNDONE for one in self.known.values())

    def note(self, part: Part, verdict: Verdict) -> None:
        """Take down what became of a part."""
        self.known[part.position] = verdict
        self.labels[part.position] = part.label
        measured = verdict not in {Verdict.UNDONE, Verdict.SKIPPED}
        if self.since_check is not None and measured:
            self.since_check += 1

    def open_positions(self) -> Iterator[int]:
        """Give the positions that nothing stands at, the undone included, in order."""
        return filter(self.is_open, count(1))

    def is_open(self, position: int) -> bool:
        """Say whether nothing stands at a position, or what stands there is undone."""
        return self.known.get(position, Verdict.UNDONE) is Verdict.UNDONE


class LotRun:
    """One run through a lot, from where it stands.

    Parameters
    ----------
    lot
        The lot file.
    on_bench
        Measures a part.
    desk, keeper, display
        See there.
    standing
        What an earlier run has done; it is carried on.
    checks
        Judges the check standard, where there is one.
    again
        Positions to be measured anew before the lot goes on, the standard before them.

    Attributes
    ----------
    stopped
        Why the lot ended before its last part; empty where it did not.
    elsewhere
        How many parts were left because other benches have them in hand.
    """

    def __init__(
        self,
        lot: LotFile,
        *,
        on_bench: PartBench,
        desk: Desk,
        keeper: Keeper,
        display: Display,
        standing: Standing | None = None,
        checks: CheckBook | None = None,
        again: Sequence[int] = (),
    ) -> None:
        self._lot, self._on_bench = lot, on_bench
        self._desk, self._keeper, self._display = desk, keeper, display
        self.standing = standing or Standing()
        self._checks = checks
        self._again_at = list(again)
        if again:
            self.standing.since_check = None
        self._last = self._part_at(max(self.standing.known, default=0))
        self._without_resonance = 0
        self._stored: list[int] = []
        self._checked = ""
        self._over = False
        self.stopped, self.elsewhere = "", 0

    def run(self) -> None:
        """Measure every part that is left.

        Raises
        ------
        NoResonanceError
            So many parts had no resonance that somebody said stop.
        SweepError
            The tank has no resonance without a part.
        GuardError, SettingError, DriverError
            The bench failed. What was measured before is kept, also then.
        """
        if self._next() is not None:
            self._measure_all()
        whole = self._lot.lot.count
        if whole is not None and not (self.stopped or self._over):
            self.elsewhere = whole - self.standing.done
            if self.elsewhere:
                have = self.elsewhere
                self.stopped = f"another bench has {have} of its parts in hand"

    def _measure_all(self) -> None:
        self._on_bench.take_reference()
        while not (self.stopped or self._over) and (part := self._next()):
            if self._check_due():
                self._check()
                continue
            presented = self._desk.present(part, last=self._last, checked=self._checked)
            if part.again and presented.label not in {"", part.label}:
                self._display.note(
                    f"{presented.label} is not {part.label}, which is to be measured "
                    "again; put that in, or leave it out (skip)"
                )
                continue
            _WISHES[presented.wish](self, self._labelled(part, presented.label))
        if self._checks is not None and self.standing.since_check and not self.stopped:
            self._check()

    def _part_at(self, position: int) -> Part | None:
        """Give the part at a position; None where the lot has none."""
        number = self._lot.lot.number_at(position)
        if number is None:
            return None
        label = self.standing.labels.get(position) or self._lot.lot.label_of(number)
        return Part(position=position, number=number, label=label)

    def _next(self) -> Part | None:
        if self._again_at and (part := self._part_at(self._again_at[0])):
            return replace(part, again=True)
        return self._part_at(self._keeper.claim(self.standing))

    def _labelled(self, part: Part, label: str) -> Part:
        """Give a part the label that was scanned; one scanned before is that part."""
        if not label:
            return part
        for position, known in self.standing.labels.items():
            undone = self.standing.known.get(position) is Verdict.UNDONE
            if known == label and not undone:
                self._display.note(
                    f"{label} was measured before, at position {position}: what is "
                    "found now takes the place of that, and both are kept"
                )
                return replace(part, position=position, label=label)
        return replace(part, label=label)

    # What may be wished -----------------------------------------------------------

    def _measure(self, part: Part) -> None:
        measured = self._on_bench.measure(part.label)
        self._store(self._judged(part, measured))
        self._count_contact(measured)

    def _again(self, part: Part) -> None:
        # What is on the fixture is what was measured last: the standard is no part.
        if self._checked:
            self._check()
        else:
            self._measure(part if self._last is None else self._last)

    def _skip(self, part: Part) -> None:
        if part.again:
            self._again_at.remove(part.position)
            self._display.note(f"{part.label} stays as it was")
            return
        text = "left out by whoever is at the bench"
        self._store(self._unmeasured(part, Verdict.SKIPPED, "skipped", text))

    def _undo(self, part: Part) -> None:
        del part
        if self._last is not None:
            self._withdraw(self._last)
            self._last = None

    def _stop(self, part: Part) -> None:
        del part
        self.stopped = "stopped by whoever is at the bench"

    def _end(self, part: Part) -> None:
        self._over = True
        if self._lot.lot.count is not None:
            self.stopped = f"there are no more parts, and {part.label} was to come"

    # Within -----------------------------------------------------------------------

    def _withdraw(self, part: Part) -> None:
        text = "taken back by whoever is at the bench"
        self._store(self._unmeasured(part, Verdict.UNDONE, "undone", text))

    def _judged(self, part: Part, measured: Measured) -> Outcome:
        again = part.position in self.standing.known
        if measured.result is None:
            return Outcome(
                part=part,
                again=again,
                begun=measured.begun,
                verdict=Verdict.UNMEASURED,
                reasons=() if measured.failure is None else (measured.failure,),
                readings=measured.readings,
            )
        verdict, reasons, decisions = decided(measured.result, self._lot)
        return Outcome(
            part=part,
            again=again,
            begun=measured.begun,
            verdict=verdict,
            reasons=reasons,
            decisions=decisions,
            result=measured.result,
            readings=measured.readings,
            bin=self._bin_of(measured) if verdict is Verdict.ACCEPTED else "",
        )

    def _bin_of(self, measured: Measured) -> str:
        for name, one in self._lot.bin.items():
            for found in measured.result.quantities if measured.result else ():
                if found.name == one.quantity and one.limits.contain(found.value):
                    return name
        return ""

    def _unmeasured(
        self, part: Part, verdict: Verdict, code: str, text: str
    ) -> Outcome:
        return Outcome(
            part=part,
            again=part.position in self.standing.known,
            begun=self._on_bench.now(),
            verdict=verdict,
            reasons=(Caution(code=code, text=text),),
            readings={},
        )

    def _store(self, outcome: Outcome) -> None:
        self._checked = ""
        position = self._keeper.keep(outcome)
        if position != outcome.part.position:
            self._display.note(
                f"another bench has stored parts of this lot: {outcome.part.label} is "
                f"kept at position {position}"
            )
        part = replace(outcome.part, position=position)
        self.standing.note(part, outcome.verdict)
        self._stored.append(position)
        if position in self._again_at:
            self._again_at.remove(position)
        self._last = part
        self._display.part(
            replace(outcome, part=part),
            done=self.standing.done,
            total=self._lot.lot.count,
        )

    def _count_contact(self, measured: Measured) -> None:
        self._without_resonance += 1
        if not measured.no_resonance:
            self._without_resonance = 0
        n = self._without_resonance
        if n < self._lot.contact.after:
            return
        self._without_resonance = 0
        said = self._desk.contact_doubted(n)
        if said == "stop":
            raise NoResonanceError(
                f"{n} parts one after the other have no resonance: look at the "
                "fixture's contacts, and run the lot again to go on",
                n_parts=n,
            )
        if said == "again":
            self._back(n)

    def _back(self, n: int) -> None:
        """Take the last n parts back, so that they are measured again."""
        # This run's own: others may have stored between them.
        for position in list(dict.fromkeys(self._stored))[-n:]:
            part = self._part_at(position)
            if part is not None:
                self._withdraw(part)
        self._last = None

    # The check standard -----------------------------------------------------------

    def _check_due(self) -> bool:
        if self._checks is None:
            return False
        since = self.standing.since_check
        return since is None or since >= self._checks.table.every

    def _check(self) -> None:
        checks = self._checks
        if checks is None:
            return
        standard = checks.table.standard
        if not self._desk.present_check(standard):
            self.stopped = "stopped by whoever is at the bench"
            return
        measured = self._on_bench.measure(standard, leading=False)
        outcome = checks.judged(
            measured.result,
            begun=measured.begun,
            readings=measured.readings,
            failure=measured.failure,
        )
        suspect = self._keeper.keep_check(outcome)
        self.standing.since_check, self._checked = 0, standard
        self._display.check(outcome, suspect=suspect)
        if not outcome.in_control and checks.table.when_out == "stop":
            self.stopped = "the check standard is out of control"
            return
        self._on_bench.take_reference()


_WISHES: Mapping[Wish, Callable[[LotRun, Part], None]] = {
    "measure": LotRun._measure,  # noqa: SLF001 - the class's own table
    "again": LotRun._again,  # noqa: SLF001
    "skip": LotRun._skip,  # noqa: SLF001
    "undo": LotRun._undo,  # noqa: SLF001
    "stop": LotRun._stop,  # noqa: SLF001
    "end": LotRun._end,  # noqa: SLF001
}
