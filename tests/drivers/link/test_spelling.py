"""One instrument, one key, however its address is spelled.

VISA's defaults are VPP-4.3's (4.3.1); that names mean addresses is RFC 1034 (case 3.1,
the last dot 3.1), that all of 127.0.0.0/8 is this machine RFC 1122 (3.2.1.3).
"""

import os
import socket
import threading
import time
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from halfpower.drivers.link import spelling
from halfpower.drivers.link.spelling import keys_of

# Invented: two names of one host, a host of two addresses, one that nobody knows.
NAMES = {
    "scope.example.": ["192.0.2.10"],
    "scope.example": ["192.0.2.10"],
    "scope": ["192.0.2.10"],
    "both.example": ["192.0.2.11", "2001:db8::11"],
}


@pytest.fixture
def names(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the invented names mean something."""
    real: Any = socket.getaddrinfo

    def looked_up(host: str, *rest: Any, **more: Any) -> Any:
        known = NAMES.get(host.lower(), [host])
        return [one for address in known for one in real(address, *rest, **more)]

    monkeypatch.setattr(socket, "getaddrinfo", looked_up)


def alike(one: str, other: str) -> bool:
    """Whether two spellings share a key."""
    return bool(set(keys_of(one)) & set(keys_of(other)))


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("TCPIP0::scope.example::inst0::INSTR", "TCPIP0::192.0.2.10::inst0::INSTR"),
        ("TCPIP::SCOPE.Example.::INSTR", "TCPIP0::scope::inst0::INSTR"),
        ("TCPIP3::scope::5025::SOCKET", "tcpip0::192.0.2.10::05025::socket"),
        ("TCPIP::both.example::5025::SOCKET", "TCPIP::192.0.2.11::5025::SOCKET"),
        ("TCPIP::scope::hislip0,4880::INSTR", "TCPIP::scope::HISLIP0::INSTR"),
        ("TCPIP::localhost::5025::SOCKET", "TCPIP::127.0.0.1::5025::SOCKET"),
        ("TCPIP::127.0.1.1::5025::SOCKET", "TCPIP::LOCALHOST.::5025::SOCKET"),
        (f"TCPIP::{socket.gethostname()}::1::SOCKET", "TCPIP::localhost::1::SOCKET"),
        ("GPIB::9::INSTR", "gpib0::9::instr"),
        ("USB::0x1234::125::A22-5::INSTR", "USB0::4660::0x7D::a22-5::0::INSTR"),
        ("COM-alias", "com-ALIAS"),
        ("ASRL3::INSTR", "ASRLCOM3::INSTR"),
    ],
)
@pytest.mark.usefixtures("names")
def test_two_spellings_share_a_key(one: str, other: str) -> None:
    """Names, letters, dots, adapters, ports, numbers."""
    assert alike(one, other)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("TCPIP::192.0.2.10::5025::SOCKET", "TCPIP::192.0.2.11::5025::SOCKET"),
        ("TCPIP::192.0.2.10::5025::SOCKET", "TCPIP::192.0.2.10::5026::SOCKET"),
        ("TCPIP::192.0.2.10::gpib0,9::INSTR", "TCPIP::192.0.2.10::gpib0,10::INSTR"),
        ("TCPIP::127.0.0.1::5025::SOCKET", "TCPIP::192.0.2.10::5025::SOCKET"),
        ("GPIB0::9::INSTR", "GPIB1::9::INSTR"),
        ("ASRL3::INSTR", "ASRL4::INSTR"),
        ("USB::1::2::0012::INSTR", "USB::1::2::12::INSTR"),
    ],
)
@pytest.mark.usefixtures("names")
def test_two_instruments_share_none(one: str, other: str) -> None:
    """Hosts, ports, what stands behind a gateway, buses, serial numbers."""
    assert not alike(one, other)


def test_a_serial_port_is_the_device_that_its_path_leads_to(tmp_path: Path) -> None:
    """As /dev/serial/by-id/... leads to /dev/ttyUSB0; two devices stay two."""
    (tmp_path / "ttyUSB0").touch()
    (tmp_path / "ttyusb0").touch()
    (tmp_path / "by-id").symlink_to(tmp_path / "ttyUSB0")
    one, other, link = (
        f"ASRL{tmp_path / name}::INSTR" for name in ("ttyUSB0", "ttyusb0", "by-id")
    )
    assert alike(one, link)
    assert not alike(one, other)


def test_an_alias_is_what_visa_says_it_stands_for() -> None:
    """Where the backend knows it; where it fails or knows nothing, it is a name."""
    knows: Any = SimpleNamespace(
        resource_info=lambda _: SimpleNamespace(resource_name="GPIB0::9::INSTR")
    )
    assert keys_of("mine", manager=knows) == keys_of("GPIB::9")
    silent: Any = SimpleNamespace(
        resource_info=lambda _: SimpleNamespace(resource_name=None)
    )
    broken: Any = SimpleNamespace()
    for manager in (silent, broken):
        assert keys_of("mine", manager=manager) == ("mine",)


def test_a_name_that_nobody_knows_is_its_own_key(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The failure to open it comes from VISA, in its own words."""

    def unknown(*_: Any, **__: Any) -> Any:
        raise socket.gaierror

    monkeypatch.setattr(socket, "getaddrinfo", unknown)
    assert keys_of("TCPIP::Nowhere.::INSTR") == ("TCPIP0::nowhere::inst0::INSTR",)


def test_a_name_server_that_does_not_answer_holds_nobody_up(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """After the time allowed the name itself is the key."""
    asked, answer = threading.Event(), threading.Event()

    def hangs(*_: Any, **__: Any) -> Any:
        asked.set()
        answer.wait(20.0)
        return []

    monkeypatch.setattr(socket, "getaddrinfo", hangs)
    monkeypatch.setattr(spelling, "RESOLVED_WITHIN_S", 0.05)
    before = time.monotonic()
    assert keys_of("TCPIP::slow::INSTR") == ("TCPIP0::slow::inst0::INSTR",)
    assert time.monotonic() - before < 5.0
    assert asked.is_set()
    answer.set()


@pytest.mark.skipif(os.name == "nt", reason="a path is what POSIX calls a port")
def test_what_is_no_path_stays_as_it_is() -> None:
    """`ASRL1` is a number that only the backend understands."""
    assert keys_of("ASRL1") == ("ASRL1::INSTR",)
