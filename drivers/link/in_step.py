"""A connection that comes into step again, and is opened anew when it is lost.

*Out of step.* After an answer that did not come, came late or came spoilt, the next
line to arrive may answer an older question. Nothing is asked then until the link is in
step again: the identity is asked for and lines are read until the known one has come
as often as it was asked for. On a link that keeps its order, everything asked before
has been answered by then. Where an answer to that question is missing, nobody can tell
lost from late: the link is opened anew, and what was under way goes with the old
connection.

*Lost.* A link that breaks, or does not come into step, is opened again (a few times,
with a rest in between), and the same instrument must answer. What the instrument was
set to may be lost by then: ``reconnections`` says so, and `Bench` acts on it.

*Too early.* Some instruments drop a command that comes straight after another. Where
only a rest brings the second answer, the sentence names the key that gives it.
"""

import contextlib
from collections.abc import Callable, Iterator

from ..errors import (
    DriverError,
    LinkLostError,
    LinkTimeoutError,
    ReplyError,
    TransportError,
)
from .byte_log import ByteLog
from .connection import Connection
from .pace import PAUSES_S, too_early
from .visa import LinkSettings, Port

__all__ = ["RECONNECT_RESTS_S", "REPEATS", "LinkInStep"]

REPEATS = 2
RECONNECT_RESTS_S: tuple[float, ...] = (0.0, 1.0, 4.0)
STEP_ATTEMPTS = 2
MOST_STALE = 64  # lines that may wait in a link that is out of step
MOST_NOTES = 100  # sentences kept; the count goes on


class LinkInStep(Connection):
    """A connection to an instrument that is known, and known again.

    Parameters
    ----------
    open_port, name, settings, sleep
        See `Connection`.
    identity_query
        The question who it is, which brings the link into step; "" where it has none:
        then the link is opened anew instead.
    log
        Where troubles are written down.

    Attributes
    ----------
    identity
        What it answered to ``identity_query``.
    troubles, reconnections
        See `Link`.
    notes
        What went wrong, in sentences.
    """

    def __init__(
        self,
        open_port: Callable[[], Port],
        *,
        name: str,
        identity_query: str,
        settings: LinkSettings,
        sleep: Callable[[float], None],
        log: ByteLog | None,
    ) -> None:
        super().__init__(
            open_port,
            name=name,
            identity_query=identity_query,
            settings=settings,
            sleep=sleep,
        )
        self.identity = ""
        self.troubles = self.reconnections = 0
        self.notes: list[str] = []
        self._log = log
        self._rests_s = RECONNECT_RESTS_S
        self._is_lost = False
        self._owed = 0  # identities asked for that have not come

    def introduce(self) -> None:
        """Open the link and learn who is there; later it must be the same.

        Raises
        ------
        TransportError, ReplyError
            It does not answer, not with sense, or every time with another identity.
        TooEarlyError
            It answers a second question after a rest alone.
        """
        for attempt in range(1 + REPEATS):
            try:
                self.identity = self._begin_anew()
            except (TransportError, ReplyError) as failure:
                self._trouble(failure)
                self._port.close()
                if attempt == REPEATS:
                    if self._said and isinstance(failure, LinkTimeoutError):
                        self._see_whether_a_rest_helps()
                    raise
            else:
                return

    def _see_whether_a_rest_helps(self) -> None:
        for pause_s in PAUSES_S:
            try:
                with self.paced(pause_s):
                    self._begin()
            except (TransportError, ReplyError):
                continue
            else:
                raise too_early(self.name, pause_s)
            finally:
                self._port.close()

    def _begin_anew(self) -> str:
        said = self._begin()
        self._owed, self._is_lost = 0, False
        return said

    def _trouble(self, failure: DriverError) -> None:
        self.troubles += 1
        self._is_in_step = False
        self._is_lost = self._is_lost or isinstance(failure, LinkLostError)
        if isinstance(failure, LinkTimeoutError) and not self._identity_query:
            self._is_lost = True  # a late answer could not be told from its successor
        self._note(str(failure))

    def _note(self, sentence: str) -> None:
        if len(self.notes) < MOST_NOTES:
            self.notes.append(sentence)
        if self._log is not None:
            self._log.note(self.name, sentence)

    def _come_into_step(self) -> None:
        if self._is_in_step:
            return
        if self._is_lost or not self._is_caught_up():
            self._reconnect()

    def _is_caught_up(self) -> bool:
        """Read until nothing asked before can come any more; False where it may."""
        try:
            if not self._identity_query:
                self._read_until_silent()
                return True
            for _ in range(STEP_ATTEMPTS):
                self._owed += 1
                self._put(self._identity_query)
                if self._hears_identity():
                    self._is_in_step = True
                    return True
        except TransportError as failure:
            self._trouble(failure)
        return False

    def _hears_identity(self) -> bool:
        """Read until every identity asked for has come."""
        for _ in range(MOST_STALE):
            try:
                self._owed -= self._port.read() == self.identity
            except ReplyError:
                continue  # it was in the way, whatever it was
            except LinkTimeoutError as failure:
                self._trouble(failure)
                return False
            if self._owed == 0:
                return True
        return False

    def _read_until_silent(self) -> None:
        for _ in range(MOST_STALE):
            try:
                self._port.read()
            except ReplyError:
                continue
            except LinkTimeoutError:
                self._is_in_step = True
                return
        raise LinkLostError(f"{self.name}: it goes on talking")

    def _reconnect(self) -> None:
        """Open the link again; the same instrument must be at its end.

        Raises
        ------
        LinkLostError
            It cannot be opened, or another instrument answers.
        """
        self._is_lost = True
        failure = ""
        for rest_s in self._rests_s:
            self._port.close()
            if rest_s:
                self._sleep(rest_s)
            try:
                said = self._begin_anew()
            except (TransportError, ReplyError) as error:
                failure = str(error)
                continue
            if said == self.identity:
                self.reconnections += 1
                self._note(f"{self.name}: the link was lost, and was opened again")
                return
            self._is_lost, self._is_in_step = True, False
            failure = f"{said!r} answers instead of {self.identity!r}"
        raise LinkLostError(
            f"{self.name}: the link was lost and could not be opened again in "
            f"{len(self._rests_s)} attempts ({failure}); check the cable and the power"
        )

    @contextlib.contextmanager
    def hurry(self, rest_s: float = 0.0) -> Iterator[None]:
        """For the length of a block, open a lost link again once, after a rest."""
        before, self._rests_s = self._rests_s, (rest_s,)
        try:
            yield
        finally:
            self._rests_s = before
