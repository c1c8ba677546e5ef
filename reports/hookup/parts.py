"""The parts of a hook-up drawing: drive, tank, detector, and what is attached."""

from __future__ import annotations

import math
from typing import Literal

from .sheet import ACCENT, HATCH, INK, LINE, QUIET, SMALL, Place, Sheet

__all__ = [
    "KNOWN",
    "UNKNOWN",
    "Between",
    "Kind",
    "draw_coil",
    "draw_detector",
    "draw_dial",
    "draw_drive",
    "draw_empty",
    "draw_in_series",
    "draw_known",
    "draw_plates",
    "draw_second",
    "draw_strap",
    "draw_unknown",
]

Kind = Literal["coupled-tank", "coupled-both-sides"]
Between = Literal["free ends", "air", "sheet"]

TANK, GROUND = 9.9, 4.1  # the heights of the two rails, in cm
MIDDLE = (TANK + GROUND) / 2.0
NODE, KNOWN, COIL, UNKNOWN, METER = 6.9, 7.7, 10.45, 13.45, 17.3
LEAD_END, COLD_END = 8.9, 5.6  # where the coil's lead and its strap are fastened


def draw_drive(sheet: Sheet) -> None:
    """Draw generator, cable and coupling capacitor, and the rail of ground."""
    sheet.frame((0.6, 4.5), (3.7, 10.5), colour=QUIET, dash="")
    sheet.say("generator", (0.6, 10.7), bold=True)
    sheet.part("SourceSin", (1.4, GROUND), (1.4, TANK))
    sheet.part("Resistor", (1.4, TANK), (3.7, TANK))
    sheet.say("R_g", (2.35, 9.1))
    sheet.say("output\nresistance", (2.6, 8.6), size=SMALL, align="middle")
    sheet.wire((3.7, TANK), (3.9, TANK))
    _cable(sheet)
    sheet.part("Capacitor", (5.2, TANK), (NODE, TANK))
    sheet.say("C_c", (5.8, 10.7))
    sheet.say("small\ncoupling", (6.05, 9.1), size=SMALL, align="middle")
    sheet.dot((NODE, TANK))
    sheet.say("tank node", (7.2, 10.2), bold=True)
    sheet.wire((1.4, GROUND), (METER, GROUND))
    sheet.ground((COIL, GROUND))
    sheet.say("ground", (COIL + 0.5, 3.5), size=SMALL)


def _cable(sheet: Sheet) -> None:
    from schemdraw import elements

    coax = elements.Coax(length=1.3, radius=0.22, leadlen=0.25, color=INK, lw=LINE)
    sheet.drawing.add(coax.at((3.9, TANK)).to((5.2, TANK)))
    sheet.wire((4.55, TANK - 0.22), (4.55, GROUND))
    sheet.say("cable", (4.55, 10.4), size=SMALL, align="middle")


def draw_detector(sheet: Sheet, *, kind: Kind) -> None:
    """Draw what reads, and the rail of the tank that leads there."""
    sheet.frame((16.5, 4.5), (20.4, 10.5), colour=QUIET, dash="")
    through = kind == "coupled-both-sides"
    name = "detector, low Z" if through else "probe, high Z"
    sheet.say(name, (20.4, 10.7), bold=True, align="end")
    end = 14.7 if through else METER
    sheet.wire((NODE, TANK), (end, TANK))
    if through:
        sheet.part("Capacitor", (end, TANK), (16.4, TANK))
        sheet.wire((16.4, TANK), (METER, TANK))
        sheet.say("C_c2", (15.2, 10.7))
        sheet.say("small", (15.55, 11.2), size=SMALL, align="middle")
    _input(sheet, METER, top=TANK)


def _input(sheet: Sheet, x: float, *, top: float, colour: str = INK) -> None:
    """Draw a detector's input: its resistance and capacitance."""
    other = x + 1.6
    sheet.wire((x, top), (other, top), colour=colour)
    sheet.wire((x, GROUND), (other, GROUND))
    sheet.part("Resistor", (x, GROUND), (x, top), colour=colour)
    sheet.part("Capacitor", (other, GROUND), (other, top), colour=colour)
    middle = (top + GROUND) / 2.0
    sheet.say("R_in", (x + 0.38, middle - 0.15), colour=colour)
    sheet.say("C_in", (other + 0.4, middle + 0.25), colour=colour)


def draw_known(sheet: Sheet, *, new: bool = False) -> None:
    """Draw the known capacitor across the tank."""
    colour = ACCENT if new else INK
    sheet.part("Capacitor", (KNOWN, GROUND), (KNOWN, TANK), colour=colour)
    _posts(sheet, KNOWN)
    sheet.say("C\nknown", (KNOWN + 0.5, MIDDLE + 0.25), colour=colour)
    if new:
        sheet.frame((KNOWN - 0.6, 5.9), (KNOWN + 2.15, 8.1))


def draw_dial(sheet: Sheet) -> None:
    """Draw a calibrated variable capacitor, and its dial: a scale and a pointer."""
    sheet.part("CapacitorVar", (KNOWN, GROUND), (KNOWN, TANK))
    _posts(sheet, KNOWN)
    sheet.say("C\nby dial", (KNOWN + 0.5, MIDDLE + 0.25))
    x, y = KNOWN + 1.25, 5.2
    sheet.dot((x, y), colour=ACCENT)
    for degrees in range(0, 181, 30):
        sheet.wire(*_ray((x, y), degrees, 0.6, 0.75), colour=ACCENT)
    sheet.wire(*_ray((x, y), 65, 0.0, 0.55), colour=ACCENT)
    sheet.frame((x - 0.95, y - 0.3), (x + 0.95, y + 1.0))


def _ray(centre: Place, degrees: float, *radii: float) -> list[Place]:
    cos, sin = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return [(centre[0] + r * cos, centre[1] + r * sin) for r in radii]


def _posts(sheet: Sheet, x: float) -> None:
    sheet.dot((x, TANK))
    sheet.dot((x, GROUND))


def draw_coil(sheet: Sheet, *, new: bool = False) -> None:
    """Draw the coil with its lead; its cold end is on ground."""
    colour = ACCENT if new else INK
    sheet.wire((COIL, TANK), (COIL, LEAD_END))
    sheet.part("Inductor2", (COIL, LEAD_END), (COIL, COLD_END), colour=colour)
    sheet.wire((COIL, COLD_END), (COIL, GROUND))
    _posts(sheet, COIL)
    sheet.dot((COIL, LEAD_END), post=True)
    sheet.dot((COIL, COLD_END), post=True)
    sheet.say("lead", (COIL + 0.25, 9.35), size=SMALL)
    sheet.say("coil", (COIL + 0.55, MIDDLE + 0.15), colour=colour)
    if new:
        sheet.frame((COIL - 0.6, COLD_END - 0.3), (COIL + 1.75, LEAD_END + 0.25))


def draw_strap(sheet: Sheet, *, new: bool = False) -> None:
    """Draw the strap at the coil's cold end."""
    colour = ACCENT if new else INK
    sheet.wire((COIL, COLD_END), (COIL, 4.75), colour=colour, weight=2.5 * LINE)
    sheet.dot((COIL, COLD_END), post=True)
    sheet.dot((COIL, 4.75), post=True)
    sheet.say("strap", (COIL + 0.35, 5.05), size=SMALL, colour=colour)
    if new:
        sheet.frame((COIL - 0.5, 4.4), (COIL + 1.7, COLD_END + 0.3))


def draw_empty(sheet: Sheet, *, x: float, words: str) -> None:
    """Draw a place across the tank with nothing between its posts."""
    sheet.wire((x, TANK), (x, 8.4))
    sheet.wire((x, GROUND), (x, 5.6))
    _posts(sheet, x)
    sheet.dot((x, 8.4), post=True)
    sheet.dot((x, 5.6), post=True)
    sheet.frame((x - 0.85, 5.9), (x + 0.85, 8.1))
    sheet.say(words, (x, MIDDLE + 0.15), colour=ACCENT, align="middle")


def draw_unknown(sheet: Sheet) -> None:
    """Draw the unknown across the tank."""
    sheet.wire((UNKNOWN, TANK), (UNKNOWN, 8.6))
    sheet.part("Capacitor", (UNKNOWN, 8.6), (UNKNOWN, 5.4), colour=ACCENT)
    sheet.wire((UNKNOWN, 5.4), (UNKNOWN, GROUND))
    _posts(sheet, UNKNOWN)
    sheet.dot((UNKNOWN, 8.6), post=True)
    sheet.dot((UNKNOWN, 5.4), post=True)
    sheet.frame((UNKNOWN - 0.6, 5.1), (UNKNOWN + 2.65, 8.9))
    sheet.say("X\nunknown", (UNKNOWN + 0.5, MIDDLE + 0.25), colour=ACCENT)


def draw_in_series(sheet: Sheet) -> None:
    """Draw the coil with the unknown at its cold end, where the strap was."""
    cold, foot = 6.8, 4.75
    sheet.wire((COIL, TANK), (COIL, LEAD_END))
    sheet.part("Inductor2", (COIL, LEAD_END), (COIL, cold))
    sheet.part("Capacitor", (COIL, cold), (COIL, foot), colour=ACCENT)
    sheet.wire((COIL, foot), (COIL, GROUND))
    _posts(sheet, COIL)
    for height in (LEAD_END, cold, foot):
        sheet.dot((COIL, height), post=True)
    sheet.frame((COIL - 0.55, foot - 0.3), (COIL + 5.2, cold + 0.3))
    sheet.say("lead", (COIL + 0.25, 9.35), size=SMALL)
    sheet.say("coil", (COIL + 0.55, 7.7))
    sheet.say("X  unknown,", (COIL + 0.6, 5.95), colour=ACCENT)
    sheet.say("in the strap's place", (COIL + 0.6, 5.35), colour=ACCENT)


def draw_plates(sheet: Sheet, *, between: Between) -> None:
    """Draw the plates from the side, with what is between them."""
    x, upper, lower, thick, half = UNKNOWN, 7.2, 6.4, 0.2, 1.0
    off = between == "free ends"
    end = 0.0 if off else thick
    sheet.wire((x, TANK), (x, upper + end))
    sheet.wire((x, GROUND), (x, lower - end))
    _posts(sheet, x)
    sheet.dot((x, 8.5), post=True)
    sheet.dot((x, 5.1), post=True)
    sheet.frame((x - 1.35, 5.65), (16.35, 7.95), colour=QUIET, dash="2 5")
    sheet.say("keep hands\nand metal out", (x + 0.3, 5.2), size=SMALL, colour=QUIET)
    if not off:
        colour = ACCENT if between == "air" else INK
        for low in (upper, lower - thick):
            corners = (x - half, low), (x + half, low + thick)
            sheet.frame(*corners, colour=colour, fill=colour, dash="")
    if between == "sheet":
        corners = (x - half, lower + 0.04), (x + half, upper - 0.04)
        sheet.frame(*corners, fill=HATCH, dash="")
    words = {"free ends": "plates\noff", "air": "plates,\nair", "sheet": "sheet"}
    sheet.frame((x - half - 0.15, 5.9), (16.15, 7.7))
    foot = 6.65 if between == "sheet" else 6.95
    sheet.say(words[between], (x + (0.3 if off else 1.15), foot), colour=ACCENT)


def draw_second(sheet: Sheet, *, kind: Kind) -> None:
    """Draw a second detector on the tank, attached as the first one is."""
    x, top = 13.0, 8.5
    _posts(sheet, x)
    sheet.dot((x + 1.6, GROUND))
    sheet.wire((x, TANK), (x, top))
    sheet.dot((x, top), post=True)
    through = kind == "coupled-both-sides"
    if through:
        sheet.part("Capacitor", (x, top), (x, 7.2), colour=ACCENT)
        sheet.say("small, as C_c2", (x + 0.4, 7.7), size=SMALL, colour=ACCENT)
    _input(sheet, x, top=7.2 if through else top, colour=ACCENT)
    sheet.frame((x - 0.6, 4.45), (x + 3.0, 8.8))
    words = "second pick-up" if through else "second probe"
    sheet.say(words, (x + 0.3, 9.1), size=SMALL, colour=ACCENT)
