"""The one module that opens VISA; everything foreign is translated here."""

import contextlib
from types import TracebackType
from typing import Any, Protocol

import pyvisa
from pyvisa import constants
from pyvisa import errors as visa_errors

from ..analysis.errors import InputError
from .errors import (
    LinkLostError,
    LinkTimeoutError,
    ReplyError,
    TransportError,
)

__all__ = ["Link", "VisaLink", "open_link", "open_visa", "translate"]


class Link(Protocol):
    """What an instrument driver needs of its link: lines of text both ways."""

    name: str

    def write(self, command: str) -> None:
        """Send one command."""

    def query(self, command: str) -> str:
        """Send one command and return the line that answers it."""
        ...

    def close(self) -> None:
        """Close the link; twice does no harm."""


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


class VisaLink:
    """A `Link` over a message-based VISA resource."""

    def __init__(self, resource: Any, *, name: str) -> None:
        self._resource = resource
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
        try:
            self._resource.write(command)
        except _FOREIGN as error:
            raise translate(error, name=self.name, command=command) from error

    def query(self, command: str) -> str:
        """Send one command and return its answer without the terminator.

        Raises
        ------
        TransportError
            The link is silent or lost.
        ReplyError
            The answer is not text.
        """
        try:
            return str(self._resource.query(command)).strip()
        except _FOREIGN as error:
            raise translate(error, name=self.name, command=command) from error

    def close(self) -> None:
        """Close the link; twice does no harm."""
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
            self._manager = pyvisa.ResourceManager(self._library)
        except (visa_errors.Error, OSError, ValueError) as error:
            raise TransportError(
                f"VISA {self._library!r} cannot be opened ({error}); "
                "'@py' needs no vendor's library",
                library=self._library,
            ) from error
        return self._manager

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close it and whatever it opened."""
        self._manager.close()


def open_link(
    manager: pyvisa.ResourceManager, *, resource: str, name: str, timeout_s: float
) -> VisaLink:
    """Open one instrument.

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

    Raises
    ------
    TransportError
        Nothing answers under that name.
    """
    try:
        opened: Any = manager.open_resource(
            resource, open_timeout=int(timeout_s * 1000), write_termination="\n"
        )
        opened.read_termination = "\n"
        opened.timeout = timeout_s * 1000.0
    except Exception as error:
        # A backend may raise anything here, bare Exception included; an interrupt
        # is not among it.
        raise TransportError(
            f"{name} {resource} cannot be opened ({error}); check the resource name "
            "in the bench file, the cable and the power",
            resource=resource,
        ) from error
    return VisaLink(opened, name=name)
