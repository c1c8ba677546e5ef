"""Foreign exceptions, all of them, become ours; interrupts do not."""

import builtins
from collections.abc import Iterator
from typing import Any

import pytest
import pyvisa
from pyvisa import constants
from pyvisa import errors as visa_errors

from halfpower.analysis import HalfpowerError, InputError
from halfpower.drivers.errors import (
    LinkLostError,
    LinkTimeoutError,
    ReplyError,
    TransportError,
)
from halfpower.drivers.link import LinkSettings, open_visa
from halfpower.drivers.link.visa import VisaPort, open_port

TIMEOUT = constants.StatusCode.error_timeout


def of_visa() -> Iterator[Exception]:
    """One of every exception class that pyvisa defines, and every status code."""
    arguments: dict[str, tuple[Any, ...]] = {
        "VisaIOError": (TIMEOUT,),
        "VisaIOWarning": (constants.StatusCode.success_max_count_read,),
        "InvalidBinaryFormat": ("no block",),
        "OSNotSupported": ("this one",),
        "UnknownHandler": (1, 2, 3),
    }
    for name, kind in vars(visa_errors).items():
        if isinstance(kind, type) and issubclass(kind, Exception):
            yield kind(*arguments.get(name, ()))
    for code in constants.StatusCode:
        if code < 0:
            yield visa_errors.VisaIOError(code)


def of_the_system() -> Iterator[Exception]:
    """One of every OSError that Python itself has."""
    for kind in vars(builtins).values():
        if isinstance(kind, type) and issubclass(kind, OSError):
            yield kind(5, "trouble")


def of_backends() -> Iterator[Exception]:
    """What pyvisa-py's protocols raise bare when a connection drops."""
    yield RuntimeError("Connection was dropped by server.")
    yield EOFError()
    yield ValueError("bad frame")
    yield Exception("failed to set configuration")


FOREIGN = [*of_visa(), *of_the_system(), *of_backends()]
NAMES = [f"{type(one).__name__}-{n}" for n, one in enumerate(FOREIGN)]


class Failing:
    """A VISA resource that fails at everything."""

    def __init__(self, failure: BaseException) -> None:
        self._failure = failure

    def write_raw(self, _: bytes) -> None:
        """Fail."""
        raise self._failure

    def read_bytes(self, *_: object, **__: object) -> bytes:
        """Fail."""
        raise self._failure

    def close(self) -> None:
        """Fail."""
        raise self._failure


@pytest.mark.parametrize("failure", FOREIGN, ids=NAMES)
def test_no_foreign_exception_gets_through(failure: Exception) -> None:
    """Writing, asking and closing: a driver need not know pyvisa's errors."""
    port = VisaPort(Failing(failure), name="generator")
    for attempt in (lambda: port.write("*IDN?"), port.read):
        with pytest.raises(TransportError, match=r"generator at '\*IDN\?'") as caught:
            attempt()
        assert caught.value.__cause__ is failure
        late = isinstance(failure, TimeoutError) or (
            isinstance(failure, visa_errors.VisaIOError)
            and failure.error_code == TIMEOUT
        )
        assert isinstance(caught.value, LinkTimeoutError if late else LinkLostError)
    port.close()


def test_the_walk_meets_what_pyvisa_has_today() -> None:
    """The list is not empty by mistake."""
    kinds = {type(failure).__name__ for failure in FOREIGN}
    assert {"VisaIOError", "InvalidSession", "LibraryError", "OSNotSupported"} <= kinds
    assert {"TimeoutError", "BrokenPipeError", "ConnectionResetError"} <= kinds
    assert len(FOREIGN) > 60


@pytest.mark.parametrize("failure", [KeyboardInterrupt(), SystemExit(1)])
def test_an_interrupt_is_not_translated(failure: BaseException) -> None:
    """Ctrl-C inside an exchange stays Ctrl-C."""
    port = VisaPort(Failing(failure), name="generator")
    for attempt in (lambda: port.write("*IDN?"), port.read):
        with pytest.raises(type(failure)):
            attempt()


class Answering:
    """A VISA resource that answers with these bytes, and keeps what it is sent."""

    def __init__(self, *answers: bytes) -> None:
        self._answers = list(answers)
        self.sent: list[bytes] = []

    def write_raw(self, data: bytes) -> None:
        """Keep it."""
        self.sent.append(data)

    def read_bytes(self, count: int, **_: object) -> bytes:
        """Give the next."""
        return self._answers.pop(0)[:count]


def test_an_answer_that_is_not_text_is_a_reply_error() -> None:
    """Bytes above ASCII came back: nonsense, on a link that stands."""
    with pytest.raises(ReplyError, match="not text"):
        VisaPort(Answering(b"\xff\n"), name="detector").read()


def test_an_answer_without_end_is_a_reply_error() -> None:
    """An instrument that never stops talking does not hold the program up."""
    with pytest.raises(ReplyError, match="no end"):
        VisaPort(Answering(b"1" * 100_000), name="detector").read()


def test_a_command_that_is_not_ascii_is_the_dialect_s_fault() -> None:
    """The link is not to blame for a micro sign."""
    resource = Answering()
    with pytest.raises(InputError, match="not ASCII"):
        VisaPort(resource, name="detector").write("µV")
    assert resource.sent == []


@pytest.mark.parametrize("termination", ["\n", "\r\n", "\r"])
def test_lines_end_as_the_dialect_says(termination: str) -> None:
    """Outwards as told; inwards whatever ends a line is taken off."""
    resource = Answering(b"+1.5E+00\r\n")
    port = VisaPort(resource, name="detector", termination=termination)
    port.write("X?")
    assert resource.sent == [b"X?" + termination.encode()]
    assert port.read() == "+1.5E+00"


@pytest.mark.parametrize("failure", FOREIGN[::7], ids=NAMES[::7])
def test_opening_says_what_to_check(failure: Exception) -> None:
    """Cable, power and the bench file's name, whatever the backend raised."""

    class Manager:
        def open_resource(self, *_: Any, **__: Any) -> Any:
            raise failure

    with pytest.raises(TransportError, match="check the resource name") as caught:
        open_port(
            Manager(),  # type: ignore[arg-type] # as much of one as is used
            resource="GPIB::1",
            name="generator",
            timeout_s=1.0,
            settings=LinkSettings(),
        )
    assert caught.value.values["resource"] == "GPIB::1"


def test_a_backend_s_paragraph_becomes_one_line() -> None:
    """A message of several lines is still one sentence to the person."""

    class Manager:
        def open_resource(self, *_: Any, **__: Any) -> Any:
            raise ValueError("no such device.\nSee\n  the manual")

    with pytest.raises(TransportError, match=r"\(no such device\. See the manual\)"):
        open_port(
            Manager(),  # type: ignore[arg-type] # as much of one as is used
            resource="GPIB::1",
            name="generator",
            timeout_s=1.0,
            settings=LinkSettings(),
        )


@pytest.mark.parametrize("library", ["@nosuch", "/no/such/libvisa.so"])
def test_a_visa_that_is_not_there_is_named(library: str) -> None:
    """With the one that needs no vendor's library."""
    with pytest.raises(TransportError, match="'@py' needs no vendor"):  # noqa: SIM117 - the entering raises
        with open_visa(library):
            pass


def test_a_manager_is_closed_behind_its_block() -> None:
    """No session of a bench that is gone stays."""
    with open_visa("@py") as manager:
        assert isinstance(manager, pyvisa.ResourceManager)
    with pytest.raises(visa_errors.InvalidSession):
        _ = manager.session


def test_nobody_at_the_address_is_a_transport_error() -> None:
    """A refused connection on this machine, through the real backend."""

    def ask(manager: pyvisa.ResourceManager) -> str:
        port = open_port(
            manager,
            resource="TCPIP0::127.0.0.1::1::SOCKET",
            name="generator",
            timeout_s=0.5,
            settings=LinkSettings(),
        )
        port.write("*IDN?")
        return port.read()

    with open_visa("@py") as manager, pytest.raises(HalfpowerError) as caught:
        ask(manager)
    assert isinstance(caught.value, TransportError)
