"""Show a lot as it goes: verdicts to be read across a bench, and what time is left."""

from collections.abc import Callable

from rich.align import Align
from rich.console import Console
from rich.markup import escape
from rich.panel import Panel
from rich.text import Text

from ...analysis.lots import Verdict
from ...sweeps.lots import CheckOutcome, Outcome, shown
from ..words import put

__all__ = ["ShowLot", "left_in_words"]

STYLES = {
    Verdict.ACCEPTED: "bold white on green4",
    Verdict.REJECTED: "bold white on red3",
    Verdict.UNDECIDED: "bold black on yellow3",
    Verdict.UNMEASURED: "bold white on magenta",
    Verdict.SKIPPED: "bold black on grey70",
    Verdict.UNDONE: "bold black on grey70",
}
RINGS = {Verdict.ACCEPTED: 1, Verdict.SKIPPED: 0, Verdict.UNDONE: 0}
SHOWN_FIRST = 2  # quantities where the lot has no limits


class ShowLot:
    """The display of a lot, on standard error.

    Parameters
    ----------
    bell
        Ring the terminal's bell: once for an accepted part, twice for any other.
    clock
        Time in s, to say how long it will take.
    large
        Fill the terminal's width with the verdict; None: where it is a terminal.
    console
        Where to; None: standard error.
    """

    def __init__(
        self,
        *,
        bell: bool,
        clock: Callable[[], float],
        large: bool | None = None,
        console: Console | None = None,
    ) -> None:
        self._console = console or Console(stderr=True, highlight=False)
        self._large = self._console.is_terminal if large is None else large
        self._bell, self._clock = bell, clock
        self._begun_s, self._shown = clock(), 0

    def part(self, outcome: Outcome, *, done: int, total: int | None) -> None:
        """Show a part's verdict with its numbers; never one without the other."""
        self._shown += 1
        word = outcome.verdict.value.upper()
        grounds = self._grounds(outcome)
        place = f"{done}" if total is None else f"{done}/{total}"
        left = self._left(done, total)
        style = STYLES[outcome.verdict]
        if self._large:
            spaced = " ".join(word)
            body = Text(f"\n{spaced}\n", style=style, justify="center")
            title = escape(f"{outcome.part.label}{_bin(outcome)}")
            self._console.print(
                Panel(Align.center(body), title=title, style=style, padding=(1, 2))
            )
            self._say(f"{place}  {grounds}{left}")
        else:
            line = Text(f"{place}  {outcome.part.label}  ")
            line.append(word, style=style)
            line.append(f"{_bin(outcome)}  {grounds}{left}")
            put(self._console, line)
        self._ring(RINGS.get(outcome.verdict, 2))

    def check(self, outcome: CheckOutcome, *, suspect: int) -> None:
        """Show a check standard's reading, and which parts it casts doubt on."""
        value = "" if outcome.value is None else f" {shown(outcome.value)}"
        why = "".join(f": {one.text}" for one in outcome.reasons)
        if outcome.in_control:
            self._say(f"check standard {outcome.standard}{value}: in control{why}")
            return
        self._say(
            f"CHECK STANDARD {outcome.standard}{value}: OUT OF CONTROL{why}; {suspect} "
            "parts since its last good reading are marked suspect: measure them again"
        )
        self._ring(3)

    def note(self, text: str) -> None:
        """Say something that is to be known."""
        self._say(f"! {text}")

    def _say(self, text: str) -> None:
        put(self._console, text)

    def _ring(self, times: int) -> None:
        if self._bell:
            for _ in range(times):
                self._console.bell()

    @staticmethod
    def _grounds(outcome: Outcome) -> str:
        """Give the numbers behind a verdict, and why it is what it is."""
        limited = {one.limit.quantity: one.found for one in outcome.decisions}
        found = [one for one in limited.values() if one is not None]
        if not found and outcome.result is not None:
            found = list(outcome.result.quantities[:SHOWN_FIRST])
        said = [", ".join(shown(one) for one in found)] if found else []
        return "; ".join([*said, *(one.text for one in outcome.reasons)])

    def _left(self, done: int, total: int | None) -> str:
        if total is None or done >= total:
            return ""
        each_s = (self._clock() - self._begun_s) / self._shown
        return f"  ({left_in_words(each_s * (total - done))} left)"


def left_in_words(seconds: float) -> str:
    """Say a time roughly."""
    for unit, size_s in (("h", 3600.0), ("min", 60.0)):
        if seconds >= 2.0 * size_s:
            return f"about {seconds / size_s:.0f} {unit}"
    return f"about {seconds:.0f} s"


def _bin(outcome: Outcome) -> str:
    return f" [{outcome.bin}]" if outcome.bin else ""
