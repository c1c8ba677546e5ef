"""Learn a connected instrument's dialect from its own answers."""

import contextlib
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pyvisa
from pyvisa import rname

from ...analysis.errors import InputError
from ..errors import GreetingError, LinkTimeoutError
from ..link import ByteLog, Link, LinkSettings, open_steady_link
from .dialect import check_dialect_text
from .dialect_writer import dialect_text
from .interview import interview

__all__ = ["learn_dialect"]

TERMINATIONS = ("\n", "\r\n", "\r")


def learn_dialect(
    manager: pyvisa.ResourceManager,
    *,
    resource: str,
    timeout_s: float,
    today: date,
    locked: bool = True,
    set_up: bool = False,
    sleep: Callable[[float], None] = time.sleep,  # noqa: TID251 - the one default
    trace: Path | None = None,
) -> str:
    """Ask an instrument what it knows and write a dialect to start from.

    Parameters
    ----------
    manager
        A VISA.
    resource
        The instrument's name in it.
    timeout_s
        How long an answer may take, in s; what is not known costs this much each.
    today
        The day, for the file's head.
    locked
        Whether other programs are kept off it meanwhile.
    set_up
        Whether a meter that has no reading as it stands may be set up to have one.
    sleep
        How to wait.
    trace
        A file for every byte both ways.

    Returns
    -------
    str
        TOML that loads as a dialect without mistakes.

    Raises
    ------
    InputError
        The name is no resource name.
    TransportError
        Nothing answers under that name, with any line end.
    ReplyError
        It has no identity, or knows nothing of what it was asked.
    """
    try:
        rname.parse_resource_name(resource)
    except rname.InvalidResourceName as error:
        raise InputError(
            f"{resource!r} is no VISA resource name; they look like "
            "TCPIP0::192.0.2.10::5025::SOCKET, and `halfpower bench list` shows some"
        ) from error
    with contextlib.ExitStack() as stack:
        log = None if trace is None else stack.enter_context(ByteLog(trace))
        link, settings = _opened(
            lambda settings: open_steady_link(
                manager,
                resource=resource,
                name="the instrument",
                timeout_s=timeout_s,
                identity_query="*IDN?",
                settings=settings,
                log=log,
                locked=locked,
                sleep=sleep,
            )
        )
        stack.callback(link.close)
        identity = link.query("*IDN?")
        findings = interview(link, identity=identity, set_up=sleep if set_up else None)
    text = dialect_text(findings, resource=resource, today=today, settings=settings)
    check_dialect_text(text, kind=findings.kind)
    return text


def _opened(
    open_link: Callable[[LinkSettings], Link],
) -> tuple[Link, LinkSettings]:
    """Open with the first line end that is answered; one that greets, greeted."""
    for termination in TERMINATIONS:
        settings = LinkSettings(
            write_termination=termination, read_termination=termination
        )
        try:
            return open_link(settings), settings
        except GreetingError:
            settings = replace(settings, greeting=True)
            return open_link(settings), settings
        except LinkTimeoutError as error:
            silent = error
    raise silent
