"""What a kind of link needs beside pyvisa-py, and which extra of ours installs it."""

from importlib.util import find_spec

from pyvisa.constants import InterfaceType

__all__ = ["not_searched", "wanting"]

_NEEDS = {
    InterfaceType.asrl: "serial ports need pyserial: pip install 'halfpower[serial]'",
    InterfaceType.usb: "USB needs pyusb and libusb: pip install 'halfpower[usb]'",
    InterfaceType.gpib: "GPIB needs gpib-ctypes: pip install 'halfpower[gpib]'",
}
_GPIB_DRIVER = "GPIB needs its adapter's driver, which is not found; install that"
_LIMITS = {  # of a search without a package
    "psutil": "VXI-11 is searched on one network interface alone",
    "zeroconf": "HiSLIP is not searched",
}


def wanting(error: Exception) -> str | None:
    """Tell what to install, where that is why a resource cannot be opened.

    Parameters
    ----------
    error
        What opening it raised.

    Returns
    -------
    str or None
        Which kind of link needs what; None: that was not the trouble.
    """
    return _needs().get(str(error))


def not_searched() -> list[str]:
    """Tell what a search by pyvisa-py passes over, and what would change that."""
    return [
        *(f"not searched; {need}" for need in dict.fromkeys(_needs().values())),
        *(
            f"{limit}: pip install 'halfpower[discovery]'"
            for package, limit in _LIMITS.items()
            if find_spec(package) is None
        ),
    ]


def _needs() -> dict[str, str]:
    """pyvisa-py's own words on each kind of link that it cannot open, and ours."""
    from pyvisa_py.sessions import Session

    needs = {}
    for (interface, _), issue in Session.iter_session_classes_issues():
        if interface == InterfaceType.gpib and find_spec("gpib_ctypes"):
            needs[issue] = _GPIB_DRIVER
        elif interface in _NEEDS:
            needs[issue] = _NEEDS[interface]
    return needs
