"""What VISA can find on its own."""

import gc
import warnings
from dataclasses import dataclass

import pyvisa
from pyvisa import rname

from ...analysis.errors import InputError
from .extras import not_searched
from .visa import translate

__all__ = ["Manager", "Survey", "reachable", "refuse_unknown"]

PURE = "py"  # pyvisa-py's library path
INSTALL = "pip install"
Manager = pyvisa.ResourceManager


@dataclass(frozen=True, slots=True, kw_only=True)
class Survey:
    """Resource names in order, and what the VISA said of its search's limits."""

    resources: tuple[str, ...]
    notes: tuple[str, ...]


def reachable(manager: Manager) -> Survey:
    """List the resources that answer VISA's own search.

    Raises
    ------
    TransportError
        The search failed.

    Notes
    -----
    A search finds what announces itself: USB, GPIB, serial ports, and instruments on
    the network that answer a broadcast. A plain TCP socket does not announce itself;
    its resource name is written by hand (``TCPIP0::192.0.2.10::5025::SOCKET``).
    """
    try:
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            found = manager.list_resources("?*")
            gc.collect()  # what the search dropped open complains here, not later
    except Exception as error:
        # A backend may raise anything here; an interrupt is not among it.
        raise translate(error, name="VISA", command="list") from error
    notes = not_searched() if manager.visalib.library_path == PURE else []
    notes += [
        " ".join(str(one.message).split())
        for one in caught
        if issubclass(one.category, UserWarning)
        and INSTALL not in str(one.message)  # said above, by the extra's name
    ]
    # an adapter is no instrument
    resources = sorted(name for name in found if not name.endswith("::INTFC"))
    return Survey(resources=tuple(resources), notes=tuple(dict.fromkeys(notes)))


def refuse_unknown(manager: Manager, resource: str) -> None:
    """Refuse a resource name that a simulated VISA does not have.

    Such a VISA opens any name and answers nothing; a real one says so itself.

    Raises
    ------
    InputError
        It is not among the resources, or no resource name at all.
    """
    known = manager.list_resources("?*")
    try:
        canonical = rname.to_canonical_name(resource)
    except rname.InvalidResourceName:
        canonical = ""
    if canonical not in known:
        raise InputError(
            f"the scene has no instrument at {resource!r}; it has {', '.join(known)}",
            resource=resource,
        )
