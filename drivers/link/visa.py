"""The one module that opens VISA; everything foreign is translated here."""

import contextlib
import io
import socket
import warnings
from dataclasses import dataclass
from typing import Any, Protocol

import pyvisa
from pyvisa import constants
from pyvisa import errors as visa_errors
from pyvisa.resources import SerialInstrument, TCPIPSocket

from ...analysis.errors import InputError
from ..errors import LinkLostError, LinkTimeoutError, ReplyError, TransportError
from .byte_log import ByteLog
from .extras import wanting

__all__ = [
    "Link",
    "LinkSettings",
    "Port",
    "VisaPort",
    "open_port",
    "open_visa",
    "translate",
]

FLOWS = {
    "none": constants.ControlFlow(0),
    "xon-xoff": constants.ControlFlow.xon_xoff,
    "rts-cts": constants.ControlFlow.rts_cts,
}
LONGEST = 4096  # bytes of a line; no answer to a query of ours comes near it


class Link(Protocol):
    """What an instrument driver needs of its link: lines of text both ways.

    Attributes
    ----------
    name
        What the instrument is called in messages.
    troubles
        How many exchanges went wrong so far, mended or not.
    reconnections
        How often the link was lost and opened again: the instrument may have lost
        its settings in between.
    """

    name: str
    troubles: int
    reconnections: int

    def write(self, command: str) -> None:
        """Send one command that does no harm twice; again on a lost link."""

    def query(
        self, command: str, *, repeatable: bool = True, patient: bool = True
    ) -> str:
        """Send one command and return the line that answers it.

        ``repeatable`` says that asking twice does no harm: true of readings and
        read-backs, not of what is gone once it is read (an error queue's entry).
        Without ``patient`` the first silence is told to the asker, who knows more.
        """
        ...

    def doubt(self) -> None:
        """Say that the last answer made no sense: see to it before the next one."""

    def hurry(self, rest_s: float = 0.0) -> contextlib.AbstractContextManager[None]:
        """For the length of a block, open a lost link again once, after a rest."""
        ...

    def paced(self, pause_s: float) -> contextlib.AbstractContextManager[None]:
        """For the length of a block, rest so long before every command, in s."""
        ...

    def close(self) -> None:
        """Close the link; twice does no harm."""


class Port(Protocol):
    """One connection: lines out, lines in, and nothing known of what they mean."""

    def write(self, command: str) -> None:
        """Send one line."""

    def read(self) -> str:
        """Return the next line, waiting for it."""
        ...

    def close(self) -> None:
        """Close the connection; twice does no harm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkSettings:
    """How lines are ended and paced; see the ``[link]`` table of a dialect."""

    write_termination: str = "\n"
    read_termination: str = "\n"
    echo: bool = False
    greeting: bool = False
    pause_s: float = 0.0
    baud_rate: int = 9600
    data_bits: int = 8
    parity: str = "none"
    stop_bits: float = 1
    flow_control: str = "none"


def translate(error: Exception, *, name: str, command: str) -> Exception:
    """Turn an exception of pyvisa, of its backend or of the system into ours.

    Parameters
    ----------
    error
        What was raised.
    name, command
        The instrument and what it was asked, for the sentence.
    """
    doing = f"{name} at {command!r}"
    if _is_late(error):
        return LinkTimeoutError(
            f"{doing}: no answer in time; check that it is on, connected, and that "
            "its dialect is right",
            command=command,
        )
    if isinstance(error, visa_errors.VisaIOError):
        return LinkLostError(f"{doing}: {error.description}", command=command)
    if isinstance(error, UnicodeDecodeError):
        return ReplyError(f"{doing}: the answer is not text", command=command)
    if isinstance(error, UnicodeEncodeError):
        return InputError(
            f"{doing}: the command holds a character that is not ASCII; correct the "
            "dialect",
            command=command,
        )
    return LinkLostError(
        f"{doing}: the link is gone ({error or type(error).__name__}); check the "
        "resource name in the bench file, the cable and the power",
        command=command,
    )


def _is_late(error: Exception) -> bool:
    if isinstance(error, visa_errors.VisaIOError):
        return bool(error.error_code == constants.StatusCode.error_timeout)
    return isinstance(error, TimeoutError)


# A backend lets out what it likes: its own errors, the system's, RuntimeError or
# EOFError of a dropped connection, bare Exception. An interrupt is not among it.
_FOREIGN = Exception


class VisaPort:
    """A `Port` over a message-based VISA resource.

    Parameters
    ----------
    resource
        What a VISA resource manager opened.
    name
        What the instrument is called in messages.
    termination
        What ends a line to the instrument.
    log
        Where its bytes are written down.
    """

    def __init__(
        self,
        resource: Any,
        *,
        name: str,
        termination: str = "\n",
        log: ByteLog | None = None,
    ) -> None:
        self._resource = resource
        self._termination = termination
        self._log = log
        self._command = ""
        self._is_well = True
        self.name = name

    def write(self, command: str) -> None:
        """Send one command.

        Raises
        ------
        TransportError
            The link is silent or lost.
        InputError
            The command is not ASCII.
        """
        self._command = command
        try:
            data = (command + self._termination).encode("ascii")
            if self._log is not None:
                self._log.sent(self.name, data)
            self._resource.write_raw(data)
        except _FOREIGN as error:
            raise self._translated(error) from error

    def read(self) -> str:
        """Return the next line without its terminator.

        Raises
        ------
        TransportError
            The link is silent or lost.
        ReplyError
            The line is not text, or has no end.
        """
        try:
            data: bytes = self._resource.read_bytes(LONGEST, break_on_termchar=True)
            if self._log is not None:
                self._log.received(self.name, data)
            self._is_well = True
            line = data.decode("ascii").strip()
        except _FOREIGN as error:
            raise self._translated(error) from error
        if len(data) >= LONGEST:
            raise ReplyError(
                f"{self.name} at {self._command!r}: the answer has no end",
                command=self._command,
            )
        return line

    def _translated(self, error: Exception) -> Exception:
        self._is_well = False
        ours = translate(error, name=self.name, command=self._command)
        if self._log is not None:
            self._log.note(self.name, str(ours))
        return ours

    def close(self) -> None:
        """Close the link; twice does no harm."""
        if not self._is_well:
            # pyvisa-py waits 5 s for a VXI-11 instrument's goodbye (0.8.1)
            with contextlib.suppress(_FOREIGN):
                session = self._resource.visalib.sessions[self._resource.session]
                session.interface.sock.shutdown(socket.SHUT_RDWR)
        with contextlib.suppress(_FOREIGN):
            self._resource.close()


class open_visa:  # noqa: N801 - reads as the function it is used as
    """Context manager for a VISA resource manager.

    Parameters
    ----------
    library
        pyvisa's name for a VISA: ``@py``, or a vendor library's path.

    Raises
    ------
    TransportError
        There is no such VISA on this machine.
    """

    def __init__(self, library: str) -> None:
        self._library = library

    def __enter__(self) -> pyvisa.ResourceManager:
        """Open the VISA library."""
        try:
            with warnings.catch_warnings():
                # gpib-ctypes without a driver; said where GPIB is asked for
                warnings.simplefilter("ignore", UserWarning)
                self._manager = pyvisa.ResourceManager(self._library)
        except (visa_errors.Error, OSError, ValueError) as error:
            raise TransportError(
                f"VISA {self._library!r} cannot be opened ({error}); "
                "'@py' needs no vendor's library",
                library=self._library,
            ) from error
        return self._manager

    def __exit__(self, *_: object) -> None:
        """Close it and whatever it opened."""
        self._manager.close()


def open_port(
    manager: pyvisa.ResourceManager,
    *,
    resource: str,
    name: str,
    timeout_s: float,
    settings: LinkSettings,
    log: ByteLog | None = None,
) -> VisaPort:
    """Open a connection to one instrument; parameters as `open_steady_link` has them.

    Raises
    ------
    TransportError
        Nothing answers under that name.
    InputError
        This kind of link needs a package that is not installed.
    """
    opened: Any = None
    printed = io.StringIO()
    open_timeout = int(timeout_s * 1000)
    try:
        with contextlib.redirect_stdout(printed):
            opened = manager.open_resource(resource, open_timeout=open_timeout)
        if "overlap" in printed.getvalue():  # pyvisa-py's one way to tell (0.8.1)
            _answer_one_by_one(opened)
        opened.read_termination = settings.read_termination
        opened.timeout = timeout_s * 1000.0
        if isinstance(opened, SerialInstrument):
            _set_line(opened, settings)
        if isinstance(opened, TCPIPSocket):
            _send_at_once(opened)
    except _FOREIGN as error:
        if opened is not None:
            opened.close()
        if (want := wanting(error)) is not None:
            raise InputError(f"{name} {resource} cannot be opened: {want}") from error
        said = " ".join(str(error).split()) or type(error).__name__
        raise TransportError(
            f"{name} {resource} cannot be opened ({said}); check the resource name "
            "in the bench file, the cable and the power",
            resource=resource,
        ) from error
    return VisaPort(opened, name=name, termination=settings.write_termination, log=log)


def _answer_one_by_one(opened: Any) -> None:
    """Ask an instrument that prefers to answer HiSLIP overlapped not to.

    pyvisa-py (0.8.1) takes the answer to its last message alone, which an overlapped
    answer does not name. The mode is agreed upon in a device clear (IVI-6.1, from
    memory).
    """
    hislip = opened.visalib.sessions[opened.session].interface
    hislip.async_device_clear()
    hislip.device_clear_complete(0)


def _set_line(line: SerialInstrument, settings: LinkSettings) -> None:
    """Give a serial line its format."""
    line.baud_rate = settings.baud_rate
    line.data_bits = settings.data_bits
    line.parity = constants.Parity[settings.parity]
    line.stop_bits = constants.StopBits(round(settings.stop_bits * 10))
    line.flow_control = FLOWS[settings.flow_control]


def _send_at_once(line: TCPIPSocket) -> None:
    """Let no command wait for the acknowledgement of the one before.

    A setting and its read-back are two small packets in a row: by default the second
    one waits until the first is acknowledged, 40 ms on many systems.
    """
    attribute = constants.ResourceAttribute.tcpip_nodelay
    try:
        line.set_visa_attribute(attribute, constants.VI_TRUE)
    except _FOREIGN:
        # pyvisa-py knows the attribute and cannot set it (0.8.1): its socket can.
        with contextlib.suppress(_FOREIGN):  # else it is slow, and nothing worse
            session: Any = line.visalib.sessions[line.session]  # type: ignore[attr-defined] # pyvisa-py's own
            session.interface.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
