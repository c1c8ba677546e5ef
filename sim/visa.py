"""The bench behind VISA: pyvisa-sim's library with the bench's own devices.

The devices are pyvisa-sim's, so that everything above the byte boundary is what a
client would use with real instruments. Two things differ from that library, both
about time and repeatability. Its reads wait by the wall's clock, ten milliseconds
at a time; these wait by the bench's clock, so that a timeout costs a test nothing.
And it draws session handles from the process's random generator, which a seeded
test may be using; these count.
"""

import itertools
import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import pyvisa
from pyvisa import constants, errors, rname
from pyvisa.util import LibraryPath
from pyvisa_sim.devices import Device, Devices
from pyvisa_sim.highlevel import SimVisaLibrary

from .instruments import Link, LinkClosedError

if TYPE_CHECKING:
    from .bench import SimulatedBench
    from .instruments import Clock, InstrumentCore

__all__ = ["BenchDevice", "BenchLibrary", "open_visa"]

Status = constants.StatusCode
Attribute = constants.ResourceAttribute


class BenchDevice(Device):  # type: ignore[misc] # the library has no types
    """An instrument of the bench as pyvisa-sim knows devices."""

    def __init__(self, core: "InstrumentCore") -> None:
        super().__init__(core.identity[1], b"")
        for interface in ("ASRL", "GPIB", "TCPIP", "USB"):
            self.add_eom(f"{interface} INSTR", "\\n", "\\n")
        self.add_eom("TCPIP SOCKET", "\\n", "\\n")
        self.link = Link(core)
        self._marks_end = False

    def bind(self, resource_name: str) -> None:
        """Learn from the resource's name whether its interface marks the end."""
        parsed = rname.parse_resource_name(resource_name)
        is_serial = parsed.interface_type_const == constants.InterfaceType.asrl
        self._marks_end = parsed.resource_class == "INSTR" and not is_serial

    def write(self, data: bytes) -> None:
        """Take bytes from a client."""
        self.link.write(data, end=self._marks_end)

    def read(self) -> tuple[bytes, bool]:
        """Give the next byte and whether it ends a message."""
        return self.link.take(1)


class BenchLibrary(SimVisaLibrary):  # type: ignore[misc] # the library has no types
    """A VISA library of one bench; no two share anything."""

    clock: "Clock"

    def _init(self) -> None:
        self.sessions: dict[Any, Any] = {}
        self.devices = Devices()
        self._handles = itertools.count(1)

    def _register(self, obj: Any) -> Any:
        handle = next(self._handles)
        self.sessions[handle] = obj
        return handle

    def open(
        self,
        session: Any,
        resource_name: str,
        access_mode: Any = constants.AccessModes.no_lock,
        open_timeout: Any = constants.VI_TMO_IMMEDIATE,
    ) -> tuple[Any, Status]:
        """Open a session; a link that a fault has closed is opened again."""
        handle, status = super().open(session, resource_name, access_mode, open_timeout)
        if status == Status.success:
            self.sessions[handle].device.link.reopen()
        return handle, status

    def write(self, session: Any, data: bytes) -> tuple[int, Status]:
        """Write to a device.

        Raises
        ------
        pyvisa.errors.VisaIOError
            The link is closed.
        """
        try:
            count, status = super().write(session, data)
        except LinkClosedError:
            raise errors.VisaIOError(Status.error_connection_lost) from None
        return count, status

    def clear(self, session: Any) -> Status:
        """Clear a device's buffers (viClear)."""
        entry = self.sessions.get(session)
        if entry is None:
            return Status.error_invalid_object
        entry.device.link.clear()
        return Status.success

    def read_stb(self, session: Any) -> tuple[int, Status]:
        """Poll a device's status byte (viReadSTB)."""
        entry = self.sessions.get(session)
        if entry is None:
            return 0, Status.error_invalid_object
        link = entry.device.link
        byte = link.core.read_status_byte(message_available=link.has_response)
        return byte, Status.success

    def read(self, session: Any, count: int) -> tuple[bytes, Status]:
        """Read by the rules of VPP-4.3, 6.1, waiting by the bench's clock.

        Raises
        ------
        pyvisa.errors.VisaIOError
            Nothing came within the session's timeout.
        """
        entry = self.sessions.get(session)
        if entry is None:
            return b"", Status.error_invalid_object
        attrs = entry.attrs
        if (
            attrs.get(Attribute.interface_type) == constants.InterfaceType.asrl
            or attrs.get(Attribute.termchar_enabled)
            or attrs.get(Attribute.suppress_end_enabled)
        ):
            return self._read_to_character(entry, count)
        link, data, is_end = entry.device.link, b"", False
        while not is_end and len(data) < count:
            self._await(entry)
            piece, is_end = link.take(count - len(data))
            data += piece
        return data, Status.success if is_end else Status.success_max_count_read

    def _await(self, entry: Any) -> None:
        """Wait for a response, or time out, on the bench's clock."""
        link = entry.device.link
        try:
            wait_s = link.ready_in_s()
        except LinkClosedError:
            raise errors.VisaIOError(Status.error_connection_lost) from None
        if link.has_response and not wait_s:
            return
        timeout_ms = entry.get_attribute(Attribute.timeout_value)[0]
        timeout_s = (
            math.inf if timeout_ms == constants.VI_TMO_INFINITE else timeout_ms / 1e3
        )
        if link.has_response and wait_s <= timeout_s:
            self.clock.sleep(wait_s)
            return
        if math.isinf(timeout_s):
            raise RuntimeError("an endless wait for a response that will never come")
        self.clock.sleep(timeout_s)
        if not link.has_response:
            link.unterminated()
        raise errors.VisaIOError(Status.error_timeout)

    def _read_to_character(self, entry: Any, count: int) -> tuple[bytes, Status]:
        """Read until the end mark, the termination character or the count."""
        link = entry.device.link
        enabled = bool(entry.get_attribute(Attribute.termchar_enabled)[0])
        suppress = bool(entry.get_attribute(Attribute.suppress_end_enabled)[0])
        character = bytes([entry.get_attribute(Attribute.termchar)[0]])
        if entry.attrs.get(Attribute.interface_type) == constants.InterfaceType.asrl:
            end_in = entry.get_attribute(Attribute.asrl_end_in)[0]
            enabled = end_in == constants.SerialTermination.termination_char
            suppress = True  # a serial line has no other end mark
        out = bytearray()
        while len(out) < count:
            self._await(entry)
            byte, is_end = link.take(1)
            out += byte
            if enabled and byte == character:
                return bytes(out), Status.success_termination_character_read
            if is_end and not suppress:
                return bytes(out), Status.success
        return bytes(out), Status.success_max_count_read


def open_visa(
    bench: "SimulatedBench", resources: Mapping[str, str] | None = None
) -> pyvisa.ResourceManager:
    """Put a bench behind a VISA resource manager.

    Parameters
    ----------
    bench
        The bench; it may stand behind several managers at once.
    resources
        Role to resource name, for other names than the scene's.

    Returns
    -------
    pyvisa.ResourceManager
        A manager of its own; ``bench.resources`` has the names it knows.

    Raises
    ------
    KeyError
        A role that the bench does not have.
    """
    names = {**bench.resources, **(resources or {})}
    # pyvisa keeps one library for each path as long as somebody uses it; the path
    # below belongs to this library alone, and so does whatever it holds.
    token = object()
    library = BenchLibrary(LibraryPath(f"halfpower-sim-{id(token):x}"))
    library.token = token
    library.clock = bench.clock
    for role, name in names.items():
        canonical = rname.to_canonical_name(name)
        device = BenchDevice(bench.instruments[role])
        library.devices.add_device(canonical, device)
        device.bind(canonical)
    return pyvisa.ResourceManager(library)
