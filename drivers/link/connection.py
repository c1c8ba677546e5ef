"""One connection at a time: commands out, answers in, each known to be its command's.

A connection begins with the question who is there, asked twice: both answers must be
alike. From then on it is in step: the next line to come answers the next command. It
is out of step from when a command is sent until its answer is in, and stays so when an
answer does not come or is none.
"""

import contextlib
import dataclasses
from collections.abc import Callable, Iterator

from ..errors import GreetingError, LinkLostError, LinkTimeoutError, ReplyError
from .visa import LinkSettings, Port

__all__ = ["Connection"]


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


class Connection:
    """Lines over a port that can be opened again.

    Parameters
    ----------
    open_port
        Opens the port, and opens it again.
    name
        What the instrument is called in messages.
    identity_query
        The question who it is; "" where it has none.
    settings
        Greeting, echo and pause.
    sleep
        How to wait.
    """

    def __init__(
        self,
        open_port: Callable[[], Port],
        *,
        name: str,
        identity_query: str,
        settings: LinkSettings,
        sleep: Callable[[float], None],
    ) -> None:
        self.name = name
        self._open_port = open_port
        self._identity_query = identity_query
        self._settings = settings
        self._sleep = sleep
        self._said = ""  # this connection's first word
        self._is_in_step = True
        self._port: Port = _NoPort()

    def _begin(self) -> str:
        """Open a connection; return the identity, told twice alike."""
        self._port = self._open_port()
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
        self._is_in_step = True
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
        """Close the port; twice does no harm."""
        self._port.close()
