"""A link that mends what can be mended, and never takes one answer for another's.

Three things go wrong on a link: an answer does not come, comes late, or comes spoilt.

*Out of step.* After any of them the next line to arrive may answer an older question.
Nothing is asked then until the link is in step again: the identity is asked for and
lines are read until the known one has come as often as it was asked for. On a link
that keeps its order, everything asked before has been answered by then. Where an
answer to that question is missing, nobody can tell lost from late: the link is opened
anew, and what was under way goes with the old connection.

*Repeats.* A question is asked again (twice at most) where asking again is harmless,
which only its asker knows.

*Lost.* A link that breaks, or does not come into step, is opened again (a few times,
with a rest in between), and the same instrument must answer. What the instrument was
set to may be lost by then: ``reconnections`` says so, and `Bench` acts on it. An answer
that was lost with the link and cannot be asked for again is an `AnswerLostError`; what
can be done over its asker does over. A `LinkLostError` says that there is no link, or
that it broke at one question three times running.

*Too early.* Some instruments drop a command that comes straight after another. Where
only a rest brings the second answer, the sentence names the key that gives it.
"""

import contextlib
import dataclasses
import time
from collections.abc import Callable, Iterator

import pyvisa

from ..errors import (
    AnswerLostError,
    DriverError,
    GreetingError,
    LinkLostError,
    LinkTimeoutError,
    ReplyError,
    TransportError,
)
from .byte_log import ByteLog
from .lock import InstrumentLock
from .pace import PAUSES_S, too_early
from .reply_shape import MOST_ANSWERS, Belief
from .visa import Link, LinkSettings, Port, open_port

__all__ = ["SteadyLink", "open_steady_link"]

REPEATS = 2
RECONNECT_RESTS_S: tuple[float, ...] = (0.0, 1.0, 4.0)
STEP_ATTEMPTS = 2
MOST_STALE = 64  # lines that may wait in a link that is out of step
MOST_NOTES = 100  # sentences kept; the count goes on


class _NoPort:
    """The connection before the first one."""

    def write(self, command: str) -> None:
        """Refuse."""
        raise LinkLostError(f"the link is not open at {command!r}", command=command)

    def read(self) -> str:
        """Refuse."""
        raise LinkLostError("the link is not open")

    def close(self) -> None:
        """Nothing to close."""


class SteadyLink:
    """A `Link` over ports that are opened again when they are lost.

    Parameters
    ----------
    open_port
        Opens the connection, and opens it again.
    name
        What the instrument is called in messages.
    identity_query
        The question who it is, which brings the link into step; "" where it has none:
        then the link is opened anew instead.
    settings
        Echo and pause.
    sleep
        How to wait.
    log
        Where troubles are written down.
    lock
        Released with the link.

    Attributes
    ----------
    identity
        What it answered to ``identity_query``.
    notes
        What went wrong, in sentences.
    """

    def __init__(
        self,
        open_port: Callable[[], Port],
        *,
        name: str,
        identity_query: str,
        settings: LinkSettings = LinkSettings(),  # noqa: B008 - frozen
        sleep: Callable[[float], None],
        log: ByteLog | None = None,
        lock: InstrumentLock | None = None,
    ) -> None:
        self.name = name
        self.identity = self._said = ""  # the latter at this connection's first word
        self.troubles = self.reconnections = 0
        self.notes: list[str] = []
        self._open_port = open_port
        self._identity_query = identity_query
        self._settings = settings
        self._sleep = sleep
        self._log = log
        self._lock = lock
        self._beliefs: dict[str, Belief] = {}
        self._rests_s = RECONNECT_RESTS_S
        self._is_in_step, self._is_lost = True, False
        self._owed = 0  # identities asked for that have not come
        self._port: Port = _NoPort()

    # Asking ------------------------------------------------------------------------

    def write(self, command: str) -> None:
        """Send one command; again (twice at most) where the connection broke.

        Raises
        ------
        TransportError
            The link is lost, and cannot be opened again.
        ReplyError
            Its echo is another one.
        """
        for attempts_left in reversed(range(1 + REPEATS)):
            self._come_into_step()
            try:
                self._send(command)
            except (TransportError, ReplyError) as failure:
                self._trouble(failure)
                if not attempts_left:
                    raise
            else:
                return

    def query(
        self, command: str, *, repeatable: bool = True, patient: bool = True
    ) -> str:
        """Send one command and return the line that answers it.

        Raises
        ------
        AnswerLostError
            The link was lost before an answer came that cannot be asked for again.
        TransportError
            No answer, or no link.
        ReplyError
            No text, or answers that go on being shorter than they were.
        """
        belief = self._beliefs.get(command)
        if belief is None:
            belief = self._beliefs[command] = Belief()
        belief.begin()
        failures = answers = 0
        while True:
            if not self._is_in_step:
                self._come_into_step()
            try:
                reply = self._exchange(command)
            except (TransportError, ReplyError) as failure:
                self._trouble(failure)
                failures += 1
                self._give_up(failure, repeatable=repeatable, patient=patient)
                if failures > REPEATS:
                    raise
                continue
            if not repeatable or belief.believes(reply):
                return reply
            answers += 1
            # half a line has another half, which may be on its way
            self._is_in_step = False
            if not belief.is_first or answers >= MOST_ANSWERS:
                self._disbelieve(command, reply, is_last=answers >= MOST_ANSWERS)

    def _give_up(
        self, failure: DriverError, *, repeatable: bool, patient: bool
    ) -> None:
        """Raise what an exchange failed with, if that is for its asker to know."""
        if isinstance(failure, LinkTimeoutError) and not patient:
            raise failure
        if repeatable:
            return
        if not isinstance(failure, LinkLostError):
            raise failure
        self._come_into_step()
        raise AnswerLostError(f"{failure}; it was opened again") from failure

    def _disbelieve(self, command: str, reply: str, *, is_last: bool) -> None:
        doubt = ReplyError(
            f"{self.name} at {command!r}: {reply!r} is written shorter than its "
            "answers were, as if it were cut off",
            command=command,
            reply=reply,
        )
        self._trouble(doubt)
        if is_last:
            raise doubt

    def doubt(self) -> None:
        """Say that the last answer made no sense."""
        self._is_in_step = False
        self.troubles += 1

    def _send(self, command: str) -> None:
        # until its answer is in, an interrupt included
        self._is_in_step = False
        self._put(command)
        if self._settings.echo:
            self._hear_echo(command)
        self._is_in_step = True

    def _put(self, command: str) -> None:
        if self._settings.pause_s:
            self._sleep(self._settings.pause_s)
        self._port.write(command)

    def _hear_echo(self, command: str) -> None:
        heard = self._port.read()
        if heard != command.strip():
            raise ReplyError(
                f"{self.name} at {command!r}: its echo was {heard!r}; if it sends "
                "none, set echo = false under [link] in its dialect",
                command=command,
                reply=heard,
            )

    def _exchange(self, command: str) -> str:
        self._send(command)
        self._is_in_step = False
        line = self._port.read()
        if line == command.strip():
            raise ReplyError(
                f"{self.name} at {command!r}: it sends the command itself back; set "
                "echo = true under [link] in its dialect",
                command=command,
                reply=line,
            )
        self._is_in_step = True
        return line

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

    # Coming into step --------------------------------------------------------------

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
                said = self._begin()
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

    def _begin(self) -> str:
        """Open a connection; return the identity, told twice alike."""
        self._port = self._open_port()
        self._owed = 0
        if self._settings.greeting:
            self._hear_greeting()
        self._said = said = ""
        if self._identity_query:
            self._said = said = self._exchange(self._identity_query)
            again = self._exchange(self._identity_query)
            if not said or said != again:
                self._is_in_step = False
                self._refuse_greeting(said, again)
                raise ReplyError(
                    f"{self.name} gave an empty identity, or another one every time "
                    f"({said[:60]!r}, {again[:60]!r})",
                    reply=again,
                )
        self._is_lost, self._is_in_step = False, True
        return said

    def _hear_greeting(self) -> None:
        try:
            self._port.read()
        except LinkTimeoutError as failure:
            raise LinkTimeoutError(
                f"{self.name} sent no greeting on connecting, as its dialect says that "
                "it does; take `greeting = true` out of [link]"
            ) from failure

    def _refuse_greeting(self, said: str, again: str) -> None:
        """Tell a greeting, whose place the first identity takes, by one read more."""
        with contextlib.suppress(LinkTimeoutError):
            if said and again and self._port.read() == again:
                raise GreetingError(
                    f"{self.name} greets whoever connects by {said[:60]!r}, before "
                    "it is asked anything; write `greeting = true` under [link] of "
                    "its dialect",
                    reply=said,
                )

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
                self.identity = self._begin()
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

    # Ending ------------------------------------------------------------------------

    @contextlib.contextmanager
    def hurry(self, rest_s: float = 0.0) -> Iterator[None]:
        """For the length of a block, open a lost link again once, after a rest."""
        before, self._rests_s = self._rests_s, (rest_s,)
        try:
            yield
        finally:
            self._rests_s = before

    @contextlib.contextmanager
    def paced(self, pause_s: float) -> Iterator[None]:
        """For the length of a block, rest so long before every command, in s."""
        before = self._settings
        longer_s = max(pause_s, before.pause_s)
        self._settings = dataclasses.replace(before, pause_s=longer_s)
        try:
            yield
        finally:
            self._settings = before

    def close(self) -> None:
        """Close the link and let go of the instrument; twice does no harm."""
        self._port.close()
        if self._lock is not None:
            self._lock.release()


def open_steady_link(
    manager: pyvisa.ResourceManager,
    *,
    resource: str,
    name: str,
    timeout_s: float,
    identity_query: str,
    settings: LinkSettings = LinkSettings(),  # noqa: B008 - frozen
    log: ByteLog | None = None,
    locked: bool = False,
    sleep: Callable[[float], None] = time.sleep,  # noqa: TID251 - the one default
) -> Link:
    """Open an instrument's link and learn who is at its end.

    Parameters
    ----------
    manager
        From `open_visa`, or a simulated bench's.
    resource
        VISA resource name.
    name
        What the instrument is called in messages (``generator``).
    timeout_s
        How long an answer may take, in s.
    identity_query
        The question who it is (``*IDN?``); "" where it has none.
    settings
        Terminators, echo, pause, and the serial line's format.
    log
        Where its bytes are written down.
    locked
        Keep other programs off the instrument while the link is open.
    sleep
        How to wait.

    Raises
    ------
    TransportError
        Nothing answers under that name, or another program has it.
    ReplyError
        What answers has no identity.
    """
    with contextlib.ExitStack() as opening:
        lock = None
        if locked:
            lock = opening.enter_context(
                InstrumentLock(resource, name=name, manager=manager)
            )

        def open_it() -> Port:
            return open_port(
                manager,
                resource=resource,
                name=name,
                timeout_s=timeout_s,
                settings=settings,
                log=log,
            )

        link = SteadyLink(
            open_it,
            name=name,
            identity_query=identity_query,
            settings=settings,
            sleep=sleep,
            log=log,
            lock=lock,
        )
        opening.callback(link.close)
        link.introduce()
        opening.pop_all()
        return link
