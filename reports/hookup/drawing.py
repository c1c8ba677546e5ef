"""Hook-up drawings: what goes where on the bench, one sheet for each step."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING, Literal, get_args

from ...records import write_whole
from ..errors import ReportError
from .parts import (
    KNOWN,
    UNKNOWN,
    Kind,
    draw_coil,
    draw_detector,
    draw_dial,
    draw_drive,
    draw_empty,
    draw_in_series,
    draw_known,
    draw_plates,
    draw_second,
    draw_strap,
    draw_unknown,
)
from .sheet import HEAD, INK, QUIET, SMALL, WIDTH, Sheet, blank_sheet

if TYPE_CHECKING:
    from pathlib import Path

__all__ = [
    "CAPTIONS",
    "CAUTION",
    "HOOKUPS",
    "KINDS",
    "Hookup",
    "Kind",
    "hookup_svg",
    "save_hookup",
]

Hookup = Literal[
    "coil",
    "coil-alone",
    "capacitor-reference",
    "capacitor-parallel",
    "capacitor-series",
    "capacitor-dial",
    "plates-out",
    "plates-air",
    "plates-sheet",
    "fixture-known-capacitor",
    "fixture-second-probe",
]

HOOKUPS: tuple[Hookup, ...] = get_args(Hookup)
KINDS: tuple[Kind, ...] = get_args(Kind)
TITLES: Mapping[Hookup, str] = {
    "coil": "Coil, with a known capacitor",
    "coil-alone": "Coil alone",
    "capacitor-reference": "Capacitor: first without it",
    "capacitor-parallel": "Capacitor, across the tank",
    "capacitor-series": "Capacitor, in series with the coil",
    "capacitor-dial": "Capacitor, by a calibrated dial",
    "plates-out": "Sheet: first without the plates",
    "plates-air": "Sheet: the plates with air",
    "plates-sheet": "Sheet: the plates with the sheet",
    "fixture-known-capacitor": "Fixture: known capacitors in turn",
    "fixture-second-probe": "Fixture: what one probe adds",
}
CAPTIONS: Mapping[Hookup, str] = {
    "coil": "Attach the coil across the tank beside a known capacitor, with leads as "
    "short as they were when the fixture was measured; then change only the known one.",
    "coil-alone": "Take every capacitor off the tank and leave the coil where it is: "
    "what it resonates with now is its own capacitance and the fixture's.",
    "capacitor-reference": "Put the work coil and a known capacitor on the tank, close "
    "the strap, and leave the unknown's place empty.",
    "capacitor-parallel": "Attach the unknown across the tank, with leads as short as "
    "they were when the fixture was measured, and move nothing else.",
    "capacitor-series": "Take the strap out at the coil's cold end and put the unknown "
    "in its place; this is for one that is large against the tank's capacitance.",
    "capacitor-dial": "Hold the frequency and sweep the dial through resonance, once "
    "with the unknown's place empty and once with the unknown across the tank.",
    "plates-out": "Take the plates off and leave their leads just as they will be with "
    "the plates on, ends free.",
    "plates-air": "Attach the plates with air between them, as far apart as the sheet "
    "is thick, and keep hands and metal clear of their edges.",
    "plates-sheet": "Slide the sheet between the plates until it fills the gap to "
    "their edges, and leave gap, leads and place as they were with air.",
    "fixture-known-capacitor": "Put one known capacitor after the other across the "
    "tank, with the same coil and the same leads, and sweep each of them.",
    "fixture-second-probe": "Attach a second probe like the first (or a second pick-up "
    "with a load like the detector) to the tank: what changes is what one adds.",
}
CAUTION = (
    "Output OFF while you change parts. A resonating part burns. Local rules first."
)

CAPTION_WIDTH = 86  # characters to a line, in a wide typeface


def hookup_svg(which: Hookup, *, kind: Kind) -> str:
    """Draw the hook-up of one step as an SVG sheet, A5 landscape.

    Parameters
    ----------
    which
        The step, one of `HOOKUPS`. What it attaches or changes is drawn in one accent
        colour inside a dashed frame.
    kind
        The fixture's kind, as in the bench file.

    Returns
    -------
    str
        The same text each time.

    Raises
    ------
    ReportError
        No such step or kind, or the drawing library is not installed.
    """
    if which not in HOOKUPS:
        raise ReportError(f"a hook-up is one of {', '.join(HOOKUPS)}, not {which!r}")
    if kind not in KINDS:
        raise ReportError(f"a fixture is one of {', '.join(KINDS)}, not {kind!r}")
    sheet = blank_sheet()
    _furniture(sheet, which=which, kind=kind)
    draw_drive(sheet)
    draw_detector(sheet, kind=kind)
    for draw in _STEPS[which]:
        draw(sheet)
    if which == "fixture-second-probe":
        draw_second(sheet, kind=kind)
    return sheet.svg(
        name=f"{which}-{kind}",
        title=f"{TITLES[which]} ({kind})",
        description=f"{CAPTIONS[which]} {CAUTION}",
    )


def save_hookup(which: Hookup, *, kind: Kind, path: Path) -> None:
    """Write a hook-up drawing.

    Parameters
    ----------
    which, kind
        As in `hookup_svg`.
    path
        An ``.svg`` file; its folder is made where needed.

    Raises
    ------
    InputError
        The file is there already, or cannot be written.
    ReportError
        Another ending, or no drawing library.
    """
    if path.suffix.lower() != ".svg":
        raise ReportError(f"a hook-up's name must end in .svg, not {path.name!r}")
    write_whole(path, hookup_svg(which, kind=kind))


def _furniture(sheet: Sheet, *, which: Hookup, kind: Kind) -> None:
    sheet.say(TITLES[which], (0.6, 13.75), size=HEAD, bold=True)
    sheet.say(f"fixture: {kind}", (20.4, 13.75), size=SMALL, colour=QUIET, align="end")
    lines = textwrap.wrap(CAPTIONS[which], CAPTION_WIDTH, break_on_hyphens=False)
    sheet.say("\n".join(lines), (0.6, 12.95))
    sheet.frame((0.6, 2.05), (1.6, 2.55))
    sheet.say("what this step attaches or changes", (1.9, 2.15), size=SMALL)
    sheet.dot((11.3, 2.3), post=True)
    sheet.say("post: a part or a lead is fastened here", (11.7, 2.15), size=SMALL)
    sheet.frame((0.6, 0.5), (20.4, 1.5), colour=INK, fill=INK, dash="")
    sheet.say(CAUTION, (WIDTH / 2.0, 0.85), colour="white", align="middle", bold=True)


_Part = Callable[[Sheet], None]
_STEPS: Mapping[Hookup, tuple[_Part, ...]] = {
    "coil": (draw_known, partial(draw_coil, new=True)),
    "coil-alone": (partial(draw_empty, x=KNOWN, words="C off"), draw_coil),
    "capacitor-reference": (
        draw_known,
        draw_coil,
        partial(draw_strap, new=True),
        partial(draw_empty, x=UNKNOWN, words="empty"),
    ),
    "capacitor-parallel": (draw_known, draw_coil, draw_strap, draw_unknown),
    "capacitor-series": (draw_known, draw_in_series),
    "capacitor-dial": (draw_dial, draw_coil, draw_unknown),
    "plates-out": (draw_known, draw_coil, partial(draw_plates, between="free ends")),
    "plates-air": (draw_known, draw_coil, partial(draw_plates, between="air")),
    "plates-sheet": (draw_known, draw_coil, partial(draw_plates, between="sheet")),
    "fixture-known-capacitor": (partial(draw_known, new=True), draw_coil),
    "fixture-second-probe": (draw_known, draw_coil),
}
