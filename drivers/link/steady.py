"""A link that mends what can be mended, and never takes one answer for another's.

An answer that does not come, comes late or comes spoilt puts the link out of step, and
it is brought into step, or opened anew, before anything else is asked (`LinkInStep`).

*Repeats.* A question is asked again (twice at most) where asking again is harmless,
which only its asker knows.

*Lost.* An answer that was lost with the link and cannot be asked for again is an
`AnswerLostError`; what can be done over its asker does over. A `LinkLostError` says
that there is no link, or that it broke at one question three times running.
"""

import contextlib
import time
from collections.abc import Callable

import pyvisa

from ..errors import (
    AnswerLostError,
    DriverError,
    LinkLostError,
    LinkTimeoutError,
    ReplyError,
    TransportError,
)
from .byte_log import ByteLog
from .in_step import REPEATS, LinkInStep
from .lock import InstrumentLock
from .reply_shape import MOST_ANSWERS, Belief
from .visa import Link, LinkSettings, Port, open_port

__all__ = ["SteadyLink", "open_steady_link"]


class SteadyLink(LinkInStep):
    """A `Link` over ports that are opened again when they are lost.

    Parameters
    ----------
    open_port, name, identity_query, settings, sleep, log
        See `LinkInStep`.
    lock
        Released with the link.
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
        super().__init__(
            open_port,
            name=name,
            identity_query=identity_query,
            settings=settings,
            sleep=sleep,
            log=log,
        )
        self._lock = lock
        self._beliefs: dict[str, Belief] = {}

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

    def close(self) -> None:
        """Close the link and let go of the instrument; twice does no harm."""
        super().close()
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
