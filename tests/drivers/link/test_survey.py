"""What a search found, and what it says of its limits."""

import warnings
from types import SimpleNamespace
from typing import Any

import pytest

from halfpower.drivers.errors import TransportError
from halfpower.drivers.link import reachable


def manager(*found: str, library: str = "/some/libvisa.so", warns: str = "") -> Any:
    """As much of a resource manager as a search needs."""

    def listed(_: str) -> tuple[str, ...]:
        if warns:
            warnings.warn(warns, UserWarning, stacklevel=1)
        return found

    visalib = SimpleNamespace(library_path=library)
    return SimpleNamespace(list_resources=listed, visalib=visalib)


def test_an_adapter_is_not_listed_as_an_instrument() -> None:
    """Resource class INTFC (VPP-4.3): a board, which answers nothing by itself."""
    found = reachable(manager("GPIB0::INTFC", "USB0::1::2::3::INSTR", "ASRL1::INSTR"))
    assert found.resources == ("ASRL1::INSTR", "USB0::1::2::3::INSTR")


def test_another_visa_speaks_for_itself() -> None:
    """Its warnings are notes, once each; pyvisa-py's needs are none of its own."""
    assert reachable(manager(warns="half of\nit")).notes == ("half of it",)


def test_a_package_that_the_search_wants_is_named_once() -> None:
    """By the extra that installs it, not by pyvisa-py's own advice."""
    notes = reachable(manager(library="py", warns="try 'pip install x'")).notes
    assert all("halfpower[" in note or "driver" in note for note in notes)


def test_a_search_that_fails_is_a_link_s_failure() -> None:
    """Whatever the backend raised."""

    def listed(_: str) -> tuple[str, ...]:
        raise RuntimeError("no bus")

    with pytest.raises(TransportError, match="no bus"):
        reachable(SimpleNamespace(list_resources=listed))  # type: ignore[arg-type] # as much of one as is used
