"""One instrument, however its address is spelled."""

import contextlib
import dataclasses
import os
import re
import socket
import threading
from typing import Any

import pyvisa
from pyvisa import rname

__all__ = ["keys_of"]

RESOLVED_WITHIN_S = 2.0  # a name server that does not answer holds nobody up longer
CLASSES = {"INSTR", "INTFC", "RAW", "SOCKET"}
HERE = "localhost"
NUMBER = r"0x[0-9a-fA-F]+|\d+"


def keys_of(
    resource: str, *, manager: pyvisa.ResourceManager | None = None
) -> tuple[str, ...]:
    """Give keys such that two spellings of one instrument's address share one.

    Parameters
    ----------
    resource
        A VISA resource name, or an alias of one that the manager's VISA knows.
    manager
        Asked what an alias stands for; None: nobody is.

    Returns
    -------
    tuple of str
        The canonical name (VPP-4.3, 4.3.1), on a network once for the host's name as
        written and once for each of its addresses: every address of this machine is
        ``localhost``, and which adapter leads there does not matter. A serial port is
        the device that its path leads to. In order, none twice.

    Notes
    -----
    What only the instrument knows stays apart: one instrument on two interfaces, two
    of its ports, an IPv4 and an IPv6 address that no name joins.
    """
    parsed = _parsed(resource) or _parsed(_meant_by(resource, manager))
    if parsed is None:
        return (resource.lower(),)
    host = getattr(parsed, "host_address", None)
    if host is None:
        return (str(_plain(parsed)),)
    plain = _plain(parsed)
    hosts = {host.rstrip(".").lower(), *_addresses(host)}
    return tuple(
        sorted(str(dataclasses.replace(plain, host_address=one)) for one in hosts)
    )


def _parsed(resource: str) -> Any:
    """Take a name apart; None where it is none. Its class may be in small letters."""
    head, colons, last = resource.rpartition("::")
    if last.upper() in CLASSES:
        resource = f"{head}{colons}{last.upper()}"
    try:
        return rname.parse_resource_name(resource)
    except rname.InvalidResourceName:
        return None


def _meant_by(alias: str, manager: pyvisa.ResourceManager | None) -> str:
    """Ask what an alias stands for; itself where VISA does not say."""
    if manager is not None:
        with contextlib.suppress(Exception):  # a backend lets out what it likes
            return manager.resource_info(alias).resource_name or alias
    return alias


def _plain(parsed: Any) -> Any:
    """Write every part of a name in its one way."""
    changed: dict[str, str] = {}
    for field in dataclasses.fields(parsed):
        part = getattr(parsed, field.name)
        if field.name == "board":
            changed["board"] = _board(parsed, part)
        elif field.name == "lan_device_name":
            changed[field.name] = part.lower().removesuffix(",4880")  # HiSLIP's own
        elif re.fullmatch(NUMBER, part or "") and field.name != "serial_number":
            changed[field.name] = str(int(part, 16 if part[:2] == "0x" else 10))
        elif part is not None:
            changed[field.name] = part.lower()
    return dataclasses.replace(parsed, **changed)


def _board(parsed: Any, board: str) -> str:
    if hasattr(parsed, "host_address"):
        return "0"
    if board.startswith("/"):
        return os.path.realpath(board)
    return re.sub(r"(?i)^com(?=\d+$)", "", board)


def _addresses(host: str) -> set[str]:
    """Give a host's addresses, those of this machine by one name; none in time: none.

    The look-up has no time limit of its own: it runs aside, and what is late is left.
    """
    found: set[str] = set()
    if host.rstrip(".").lower() == socket.gethostname().lower():
        found.add(HERE)  # whether its own name is looked up or not

    def look_up() -> None:
        with contextlib.suppress(OSError, UnicodeError):
            for *_, address in socket.getaddrinfo(host, 0, type=socket.SOCK_DGRAM):
                found.add(HERE if _is_here(address) else str(address[0]))

    aside = threading.Thread(target=look_up, daemon=True)
    aside.start()
    aside.join(RESOLVED_WITHIN_S)
    return found if not aside.is_alive() else found & {HERE}


def _is_here(address: tuple[Any, ...]) -> bool:
    """Tell whether an address is this machine's: only such can be bound."""
    family = socket.AF_INET6 if ":" in address[0] else socket.AF_INET
    try:
        with socket.socket(family, socket.SOCK_DGRAM) as bound:
            bound.bind(address)
    except OSError:
        return False
    return True
