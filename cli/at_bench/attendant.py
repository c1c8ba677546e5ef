"""Whoever changes what is on the fixture: the person, or a simulated bench's hand."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from ...analysis.errors import InputError
from ...drivers.instruments import Ask, Tell, ask_for_word
from ...sweeps.run import Arrangement, Attendant

if TYPE_CHECKING:
    from ...reports.hookup import Kind
    from ...sim.bench import SimulatedBench
    from .lamp import Lamp

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
    ask, tell
        Puts a question and waits for the answer; says something.
    lamp
        Knows what is known of the output.
    attached
        Whether what is asked for first is on the fixture already.
    """

    def __init__(self, ask: Ask, *, tell: Tell, lamp: "Lamp", attached: bool) -> None:
        self._ask, self._tell, self._lamp = ask, tell, lamp
        self._attached = attached

    def arrange(self, arrangement: Arrangement) -> None:
        """Ask for it, and wait for Enter.

        Raises
        ------
        InputError
            Nobody is there to answer.
        """
        if not arrangement.instruction:
            return
        if self._attached:
            self._attached = False
            self._tell(f"Not asked (--attached): {arrangement.instruction}")
            return
        question = (
            f"{self._lamp.off_in_words()} {arrangement.instruction} Then press Enter."
        )
        try:
            ask_for_word(self._ask, question, tell=self._tell)
        except InputError as error:
            error.add_note(
                "where that is on the fixture already, --attached does not ask for it"
            )
            raise


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
    """

    def __init__(self, inner: Attendant, *, folder: Path, kind: "Kind") -> None:
        self._inner, self._folder, self._kind = inner, folder, kind

    def arrange(self, arrangement: Arrangement) -> None:
        """Draw it, once each, and have it done with the drawing named.

        Raises
        ------
        ReportError
            It cannot be drawn or written.
        """
        from ...reports.hookup import HOOKUPS, save_hookup

        for which in HOOKUPS:
            path = self._folder / f"{which}.svg"
            if which != arrangement.hookup:
                continue
            if not path.exists():
                save_hookup(which, kind=self._kind, path=path)
            drawn = f"{arrangement.instruction} (Drawn: {path})"
            arrangement = replace(arrangement, instruction=drawn)
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
