"""Whoever changes what is on the fixture: the person, or a simulated bench's hand."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING

from ...analysis.errors import InputError
from ...drivers.instruments import Ask
from ...sweeps.run import Arrangement, Attendant

if TYPE_CHECKING:
    from ...reports.hookup import Kind
    from ...sim.bench import SimulatedBench

__all__ = [
    "DrawingAttendant",
    "PersonAttendant",
    "SceneAttendant",
    "SceneCapacitor",
]


class PersonAttendant:
    """The person at the bench, asked in one sentence.

    Parameters
    ----------
    ask
        Puts a question and waits for the answer.
    paused
        Takes whatever moves on the terminal away for the length of a block.
    """

    def __init__(
        self, ask: Ask, *, paused: Callable[[], AbstractContextManager[None]]
    ) -> None:
        self._ask, self._paused = ask, paused

    def arrange(self, arrangement: Arrangement) -> None:
        """Ask for it, and wait for Enter."""
        if not arrangement.instruction:
            return
        with self._paused():
            self._ask(
                f"The generator's output is off. {arrangement.instruction} Then press "
                "Enter."
            )


class DrawingAttendant:
    """Draws what is to be hooked up before another attendant does it.

    Parameters
    ----------
    inner
        Who does it.
    folder
        Where the drawings go.
    kind
        The fixture's.
    tell
        Says where a drawing is.
    """

    def __init__(
        self,
        inner: Attendant,
        *,
        folder: Path,
        kind: "Kind",
        tell: Callable[[str], None],
    ) -> None:
        self._inner, self._folder, self._kind = inner, folder, kind
        self._tell = tell

    def arrange(self, arrangement: Arrangement) -> None:
        """Draw it, once each, and have it done.

        Raises
        ------
        ReportError
            It cannot be drawn or written.
        """
        from ...reports.hookup import HOOKUPS, save_hookup

        for which in HOOKUPS:
            path = self._folder / f"{which}.svg"
            if which == arrangement.hookup and not path.exists():
                save_hookup(which, kind=self._kind, path=path)
                self._tell(f"Drawn: {path}")
        self._inner.arrange(arrangement)


class SceneAttendant:
    """The hand that changes what is on a simulated fixture.

    Parameters
    ----------
    simulated
        The bench.
    tell
        Says what is done.
    """

    def __init__(
        self, simulated: "SimulatedBench", *, tell: Callable[[str], None]
    ) -> None:
        self._simulated, self._tell = simulated, tell

    def arrange(self, arrangement: Arrangement) -> None:
        """Put on the simulated fixture what is to be there, and nothing else.

        Raises
        ------
        InputError
            The scene has no such part.
        """
        if not arrangement.fitted:
            return
        simulated = self._simulated
        wanted = dict(part.partition("@")[::2] for part in arrangement.fitted)
        # A fixture without a strap has none to take out.
        optional = {"strap"} - set(simulated.slots)
        missing = sorted(set(wanted) - set(simulated.slots) - optional)
        if missing:
            raise InputError(
                f"the scene has no {' and no '.join(missing)} to put on its fixture; "
                f"it has {', '.join(simulated.slots)}"
            )
        try:
            for slot in simulated.slots:
                if slot in wanted:
                    simulated.connect(slot, place=wanted[slot] or None)
                else:
                    simulated.disconnect(slot)
            if arrangement.sheet is not None:
                simulated.set_sheet(arrangement.sheet)
        except LookupError as error:
            raise InputError(f"the scene cannot do this: {error.args[0]}") from error
        if arrangement.instruction:
            self._tell(f"(simulated) {arrangement.instruction}")


class SceneCapacitor:
    """A simulated bench's variable capacitor, which needs nobody to turn it.

    Parameters
    ----------
    simulated
        The bench.
    """

    identity = "the scene's variable capacitor"

    def __init__(self, simulated: "SimulatedBench") -> None:
        self._simulated = simulated

    def set_capacitance(self, capacitance_f: float) -> float:
        """Turn it, and return what its dial then shows, in F.

        Raises
        ------
        InputError
            The scene has none, or it does not go there.
        """
        try:
            self._simulated.set_capacitor(capacitance_f)
        except (LookupError, ValueError) as error:
            raise InputError(f"the scene cannot do this: {error.args[0]}") from error
        return capacitance_f
