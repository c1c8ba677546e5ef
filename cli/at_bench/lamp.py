"""What is said of the generator's output: what the bench knows of it, and no more."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from rich.console import Console
from rich.live import Live
from rich.text import Text

from ...analysis.reading import Reading
from ...analysis.result import Result
from ...drivers.instruments import OutputState
from ...sweeps.run import Progress

if TYPE_CHECKING:
    from ...drivers import Bench

__all__ = ["Lamp"]

KNOWN = {
    OutputState.OFF: "The generator's output is off.",
    OutputState.TOLD_OFF: "The generator was told to switch its output off; it cannot "
    "say whether it did: look at it.",
    OutputState.UNKNOWN: "IT IS NOT KNOWN WHETHER THE GENERATOR'S OUTPUT IS OFF: look "
    "at it.",
    OutputState.ON: "THE GENERATOR'S OUTPUT IS ON.",
}
STYLE = "bold white on red3"


class Lamp:
    """Says whether the circuit is driven, at which frequency and tank voltage.

    It is a sink, too: readings tell it the tank's voltage and what is being done.

    Parameters
    ----------
    simulated
        Whether nothing real is driven.

    Attributes
    ----------
    bench
        The bench that is asked; None: it is not open yet.
    what
        What is measured.
    """

    def __init__(self, *, simulated: bool) -> None:
        self._simulated = simulated
        self._live: Live | None = None
        self._progress: Progress | None = None
        self._highest_v = 0.0
        self.bench: Bench | None = None
        self.what = ""

    def off_in_words(self) -> str:
        """Say what is known of the output before hands go in, once it was seen to."""
        if self.bench is None:
            return KNOWN[OutputState.UNKNOWN]
        self.bench.generator.see_off()
        return KNOWN[self.bench.output]

    @property
    def driving(self) -> str:
        """That it is driven, and how; empty where it is not."""
        if self.bench is None or self.bench.output is not OutputState.ON:
            return ""
        said = "driving (simulated)" if self._simulated else "DRIVING"
        if self.bench.frequency_hz is not None:
            said += f" {self.bench.frequency_hz / 1e6:.6f} MHz"
        tank_v = None if self._progress is None else self._progress.tank_v
        if tank_v is None:
            return f"{said}, tank not read yet"
        return f"{said}, tank {tank_v:.3g} V (highest {self._highest_v:.3g} V)"

    @property
    def line(self) -> str:
        """The last line on the screen for as long as the generator is in use."""
        if self.bench is None or not self.driving:
            return "" if self.bench is None else KNOWN[self.bench.output]
        said, progress = [self.what], self._progress
        if progress is not None:
            done = f"reading {progress.taken}"
            if progress.expected > progress.taken:
                done += f" of about {progress.expected}"
            said += [progress.part, progress.step, progress.phase, done]
        return ": ".join(filter(None, [self.driving, ", ".join(filter(None, said))]))

    @contextmanager
    def lit(self) -> Iterator[None]:
        """Show the line on a terminal for the length of a block."""
        self._progress, self._highest_v = None, 0.0
        console = Console(stderr=True)
        if not console.is_terminal:
            yield
            return
        with Live(
            get_renderable=lambda: Text(self.line, style=STYLE if self.driving else ""),
            console=console,
            transient=True,
        ) as live:
            live.refresh()
            self._live = live
            try:
                yield
            finally:
                self._live = None

    @contextmanager
    def covered(self) -> Iterator[None]:
        """Take the line away for the length of a question, which says it itself."""
        live = self._live
        if live is None:
            yield
            return
        live.stop()
        try:
            yield
        finally:
            live.start(refresh=True)

    def reading(self, reading: Reading, *, progress: Progress) -> None:
        """Take note of the tank's voltage and of what is being done."""
        del reading
        self._progress = progress
        self._highest_v = max(self._highest_v, progress.tank_v or 0.0)

    def taken_back(self, reading: Reading) -> None:
        """Forget what a slip said of the tank."""
        del reading
        self._progress = None

    def result(self, result: Result) -> None:
        """Nothing: the line goes by itself."""
