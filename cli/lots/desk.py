"""Who puts the parts in: a person, an external command, or a simulated bench."""

import os
import shlex
import shutil
import subprocess
from collections.abc import Callable
from typing import TYPE_CHECKING

from ...analysis.errors import HalfpowerError, InputError
from ...analysis.given_text import label_trouble
from ...analysis.tank import REFERENCE
from ...drivers.instruments import Ask, ask_for_word
from ...sweeps.lots import ASK, Contact, LotFile, Part, Presented, Wish
from ...sweeps.run import Arrangement, KnownCapacitor

if TYPE_CHECKING:
    from ...sim.bench import SimulatedBench
    from ..at_bench import Lamp

__all__ = [
    "NO_MORE_PARTS",
    "CommandDesk",
    "PersonDesk",
    "PresenterError",
    "SceneDesk",
]

NO_MORE_PARTS = 10  # what the external command ends with when none are left
WORDS: tuple[Wish, ...] = ("again", "skip", "undo", "stop", "end")
HELP = "again, skip, undo, stop, or end (no more parts)"


class PresenterError(HalfpowerError):
    """The command that presents the parts failed."""

    exit_status = 3


class PersonDesk:
    """The person at the bench, asked before each part.

    Parameters
    ----------
    lot
        The lot file.
    ask
        Puts a question and waits for the line that is typed or scanned.
    tell
        Says something.
    lamp
        Knows what is known of the output.
    """

    def __init__(
        self, lot: LotFile, *, ask: Ask, tell: Callable[[str], None], lamp: "Lamp"
    ) -> None:
        self._lamp = lamp
        self._asks_labels = lot.lot.label == ASK
        self._slash = "/" if self._asks_labels else ""
        self._where = (
            "across the tank" if lot.lot.procedure == "capacitor" else "on the fixture"
        )
        self._ask, self._tell = ask, tell
        self._told = False
        self._stays = _what_stays(lot)

    def present(self, part: Part, *, last: Part | None, checked: str = "") -> Presented:
        """Ask for a part, until the answer makes sense."""
        self._say_what_stays()
        if not self._told:
            enter = "a label" if self._asks_labels else "Enter"
            words = ", ".join(f"{self._slash}{word}" for word in WORDS)
            self._tell(f"Besides {enter} you may type: {words}.")
            self._told = True
        while True:
            found = self._answer(part, last=last, checked=checked)
            if found is not None:
                return found

    def _answer(
        self, part: Part, *, last: Part | None, checked: str
    ) -> Presented | None:
        before = "" if last is None else f" (last: {last.label})"
        if checked:
            again = f"{self._slash}again"
            before = f" (last: the check standard {checked}; {again} repeats it)"
        safe = self._lamp.off_in_words()
        if self._asks_labels:
            name = part.label if part.again else f"part {part.position}"
            said = self._ask(
                f"{safe} Put {name} {self._where}{before}, then scan or type its label:"
            ).strip()
            word = said[1:] if said.startswith("/") else ""
        else:
            said = self._ask(
                f"{safe} Put {part.label} {self._where}{before}, then press Enter:"
            ).strip()
            word = said.removeprefix("/").lower()
        for wish in WORDS:
            if wish == word:
                return Presented(wish=wish)
        if not self._asks_labels and not said:
            return Presented()
        if self._asks_labels and said and not word and not label_trouble(said):
            return Presented(label=said)
        self._tell(f"{said[:40]!r} is not understood: {HELP}.")
        return None

    def present_check(self, standard: str) -> bool:
        """Ask for the check standard."""
        self._say_what_stays()
        said = self._asked(
            f"Put the check standard {standard} {self._where}, then press Enter (or "
            "type stop):",
            words=("stop",),
        )
        return said != "stop"

    def _say_what_stays(self) -> None:
        """Say once what is across every coil, before anything is driven."""
        if self._stays:
            self._tell(self._stays)
        self._stays = ""

    def contact_doubted(self, n: int) -> Contact:
        """Ask whether the fixture's contact is bad."""
        said = self._asked(
            f"{n} parts one after the other have no resonance: is the fixture's "
            "contact bad? Enter goes on, again takes these parts back to be measured "
            "again, stop ends here:",
            words=("again", "stop"),
        )
        if said == "again":
            return "again"
        return "stop" if said == "stop" else "go_on"

    def arrange(self, arrangement: Arrangement) -> None:
        """Ask for what a reference sweep needs; a part is asked for by `present`."""
        if arrangement.step == REFERENCE:
            self._asked(f"{arrangement.instruction} Then press Enter.")

    def _asked(self, question: str, *, words: tuple[str, ...] = ()) -> str:
        """Have hands put in, once it was said what is known of the output."""
        whole = f"{self._lamp.off_in_words()} {question}"
        return ask_for_word(self._ask, whole, tell=self._tell, words=words)


class CommandDesk:
    """An external command that presents the parts: a handler, a multiplexer.

    It is called with the part's number and label as its last two arguments, and never
    through a shell; in its environment are ``HALFPOWER_PRESENT`` (``part``, ``check``
    or ``reference``), ``HALFPOWER_LOT``, ``HALFPOWER_NUMBER``, ``HALFPOWER_LABEL``.
    Status 0: it is there; 10: there are no more parts; any other stops the lot.

    Parameters
    ----------
    command
        Split like a shell does, with nothing expanded.
    lot
        The lot file.
    tell
        Says what it wrote, where it fails.

    Raises
    ------
    InputError
        There is no such command, or nobody could say the labels.
    """

    def __init__(
        self, command: str, lot: LotFile, *, tell: Callable[[str], None]
    ) -> None:
        try:
            self._argv = shlex.split(command)
        except ValueError as error:
            raise InputError(
                f"--present {command!r} cannot be split: {error}"
            ) from None
        if not self._argv or shutil.which(self._argv[0]) is None:
            raise InputError(f"--present {command!r}: there is no such command")
        _refuse_asking(lot, who="a command that presents the parts")
        self._lot, self._tell = lot, tell

    def present(self, part: Part, *, last: Part | None, checked: str = "") -> Presented:
        """Have a part put in.

        Raises
        ------
        PresenterError
            The command failed.
        """
        del last, checked
        status = self._call("part", number=part.number, label=part.label)
        return Presented(wish="end" if status == NO_MORE_PARTS else "measure")

    def present_check(self, standard: str) -> bool:
        """Have the check standard put in; no more parts means no more checks either."""
        return self._call("check", number=0, label=standard) != NO_MORE_PARTS

    def contact_doubted(self, n: int) -> Contact:
        """Do what the lot file says for where nobody is."""
        del n
        return self._lot.contact.unattended

    def arrange(self, arrangement: Arrangement) -> None:
        """Have the fixture cleared for a reference sweep; parts come by themselves."""
        if arrangement.step == REFERENCE:
            self._call("reference", number=0, label="")

    def _call(self, what: str, *, number: int, label: str) -> int:
        named = {
            "HALFPOWER_PRESENT": what,
            "HALFPOWER_LOT": self._lot.lot.name,
            "HALFPOWER_NUMBER": str(number),
            "HALFPOWER_LABEL": label,
        }
        try:
            ended = subprocess.run(  # noqa: S603 - the user's own command, no shell
                [*self._argv, str(number), label],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT,
                env=os.environ | named,
                check=False,
                text=True,
                errors="replace",
            )
        except OSError as error:
            raise PresenterError(
                f"{self._argv[0]} cannot be run to present {what} {label}: "
                f"{error.strerror}"
            ) from error
        if ended.returncode not in {0, NO_MORE_PARTS}:
            if ended.stdout.strip():
                self._tell(ended.stdout.strip())
            raise PresenterError(
                f"{self._argv[0]} ended with status {ended.returncode} when it was to "
                f"present {what} {label}: the lot is stopped; see to it and run the "
                "lot again",
                status=ended.returncode,
            )
        return ended.returncode


class SceneDesk:
    """The hand at a simulated bench: parts go in without a question.

    Parameters
    ----------
    lot
        The lot file.
    simulated
        The bench.
    fitted
        Puts on the fixture what else is to be there.

    Raises
    ------
    InputError
        The scene has no lot, or a smaller one.
    """

    def __init__(
        self,
        lot: LotFile,
        simulated: "SimulatedBench",
        *,
        fitted: Callable[[Arrangement], None],
    ) -> None:
        if not simulated.part_count:
            raise InputError(
                "the scene has no lot of parts; take one that has, like choke-lot"
            )
        wanted = max(lot.lot.size or 0, lot.check.simulated_part if lot.check else 0)
        if wanted > simulated.part_count:
            raise InputError(
                f"the scene's lot has {simulated.part_count} parts, the lot file asks "
                f"for number {wanted}"
            )
        _refuse_asking(lot, who="a simulated bench")
        self._lot, self._simulated, self._fitted = lot, simulated, fitted

    def present(self, part: Part, *, last: Part | None, checked: str = "") -> Presented:
        """Put a part of the scene's lot in."""
        del last, checked
        if part.number > self._simulated.part_count:
            return Presented(wish="end")
        self._simulated.insert_part(part.number)
        return Presented()

    def present_check(self, standard: str) -> bool:
        """Put the part in that is the check standard."""
        del standard
        if self._lot.check is not None:
            self._simulated.insert_part(self._lot.check.simulated_part)
        return True

    def contact_doubted(self, n: int) -> Contact:
        """Do what the lot file says for where nobody is."""
        del n
        return self._lot.contact.unattended

    def arrange(self, arrangement: Arrangement) -> None:
        """Put on the fixture what is to be there."""
        self._fitted(arrangement)


def _what_stays(lot: LotFile) -> str:
    """Say what is across every coil; a capacitor's tank is asked for by itself."""
    if lot.lot.procedure != "coil":
        return ""
    capacitor = lot.measure.capacitor
    if capacitor is None:
        return "Nothing is put across the coils of this lot."
    name = KnownCapacitor(capacitance_f=capacitor).name
    return f"Across each coil of this lot goes the {name} capacitor."


def _refuse_asking(lot: LotFile, *, who: str) -> None:
    if lot.lot.label == ASK:
        raise InputError(
            f"the lot file has labels asked for, and {who} cannot be asked; give a "
            "pattern like 'L{number:03}'"
        )
