"""`halfpower predict`: what to expect of a coil, of plates, of a resonance."""

import re
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ..words import (
    JsonOption,
    OverwriteOption,
    length_of,
    length_or_none,
    with_exit_status,
)
from .capacitors import capacitors

if TYPE_CHECKING:
    from ...analysis.plates import Sheet
    from ...analysis.quantity import Stated, Unit

__all__ = ["app"]

app = typer.Typer(
    help="Predict a coil, a coil on a core, plates, or a resonance, or which capacitor "
    "to use. A dimension may carry its doubt: '25mm +- 0.1mm' (limits) or "
    "'25mm u=0.1mm'.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
app.command("capacitors")(with_exit_status(capacitors))


def _takes(name: str, metavar: str, words: str | None = None) -> Any:
    """Describe an option that takes a text; what is not given is not shown."""
    return typer.Option(name, metavar=metavar, help=words, show_default=False)


def _length(name: str, words: str) -> Any:
    return _takes(name, "LENGTH", words)


def _option(text: str | None, unit: "Unit") -> "Stated | None":
    from ...analysis.quantity import parse_stated

    return None if text is None else parse_stated(text, unit)


def _needed(text: str | None, *, option: str) -> str:
    from ...analysis.errors import InputError

    if text is None:
        raise InputError(f"say {option} as well")
    return text


# Digits, a sign of doubt and a share; no unit, since there is none.
_PURE = re.compile(r"\s*[-+]?[\d.][\d.eE+\-±/\s%]*(u\s*=[\d.eE+\s%]*)?", re.ASCII)


def _pure_number(text: str, *, option: str) -> "Stated":
    """Read a number without a unit, which may be in the thousands."""
    from ...analysis.errors import InputError
    from ...analysis.quantity import parse_stated

    if not _PURE.fullmatch(text):
        raise InputError(f"{option} {text!r} is not a plain number; write it like 125")
    # Read as ohms, whose window is wide enough; the pattern has barred the unit.
    return parse_stated(text, "ohm")


@app.command("coil")
@with_exit_status
def coil(
    *,
    diameter: Annotated[
        str, _length("--diameter", "Between wire centres: former plus wire.")
    ],
    turns: Annotated[float, _takes("--turns", "N", "1 or more.")],
    wire: Annotated[str, _length("--wire", "Bare wire's diameter.")],
    length: Annotated[
        str | None, _length("--length", "Of the winding: turns times pitch.")
    ] = None,
    pitch: Annotated[
        str | None, _length("--pitch", "From turn to turn, insulation included.")
    ] = None,
    frequency: Annotated[
        str | None,
        _takes(
            "--frequency",
            "FREQUENCY",
            "Where resistance, Q and the r.f. inductance are wanted.",
        ),
    ] = None,
    conductor: Annotated[
        str, typer.Option(metavar="METAL", help="copper, silver or aluminium.")
    ] = "copper",
    json: JsonOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Predict a single-layer coil: L, self-capacitance, self-resonance, R and Q.

    Example: halfpower predict coil --diameter 25mm --turns 20 --wire 0.8mm
    --pitch 1mm --frequency 7MHz
    """
    from ...analysis.predict import Winding, predict_winding
    from ..words import hand_out_prediction

    winding = Winding(
        diameter_m=length_of(diameter, option="--diameter"),
        turns=turns,
        wire_m=length_of(wire, option="--wire"),
        length_m=length_or_none(length, option="--length"),
        pitch_m=length_or_none(pitch, option="--pitch"),
        conductor=conductor,
    )
    prediction = predict_winding(winding, frequency_hz=_option(frequency, "Hz"))
    hand_out_prediction(prediction, json=json, overwrite=overwrite)


@app.command("toroid")
@with_exit_status
def toroid(
    *,
    turns: Annotated[int, _takes("--turns", "N", "Passes through the ring.")],
    al: Annotated[
        str | None, _takes("--al", "INDUCTANCE", "The core's A_L per turn squared.")
    ] = None,
    permeability: Annotated[
        str | None,
        _takes(
            "--permeability",
            "NUMBER",
            "Instead of A_L: the core's relative permeability, and its size.",
        ),
    ] = None,
    outer: Annotated[str | None, _length("--outer", "Core's outer diameter.")] = None,
    inner: Annotated[str | None, _length("--inner", "Core's inner diameter.")] = None,
    height: Annotated[str | None, _length("--height", "Core's height.")] = None,
    json: JsonOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Predict a coil on a ring core, from A_L or from permeability and size.

    Example: halfpower predict toroid --turns 20 --al "4.9nH +- 5%"
    """
    from ...analysis.errors import InputError
    from ...analysis.predict import RingCore, predict_on_al, predict_on_ring
    from ...analysis.quantity import parse_stated
    from ..words import hand_out_prediction

    sizes = {"--outer": outer, "--inner": inner, "--height": height}
    by_size = permeability is not None or any(sizes.values())
    if (al is None) is not by_size:
        raise InputError(
            "say the core's --al, or its --permeability, --outer, --inner and --height"
        )
    if al is not None:
        prediction = predict_on_al(parse_stated(al, "H"), turns=turns)
    else:
        number = _needed(permeability, option="--permeability")
        outer_m, inner_m, height_m = (
            length_of(_needed(text, option=option), option=option)
            for option, text in sizes.items()
        )
        core = RingCore(
            outer_m=outer_m,
            inner_m=inner_m,
            height_m=height_m,
            relative_permeability=_pure_number(number, option="--permeability"),
        )
        prediction = predict_on_ring(core, turns=turns)
    hand_out_prediction(prediction, json=json, overwrite=overwrite)


@app.command("plates")
@with_exit_status
def plates(
    *,
    gap: Annotated[str, _length("--gap", "Between the plates: the sheet's thickness.")],
    diameter: Annotated[str | None, _length("--diameter", "Of discs.")] = None,
    width: Annotated[str | None, _length("--width", "Of rectangles.")] = None,
    length: Annotated[
        str | None, _length("--length", "Of rectangles; the width if not said.")
    ] = None,
    permittivity: Annotated[
        str | None,
        _takes("--permittivity", "NUMBER", "Relative, of a sheet that fills the gap."),
    ] = None,
    sheet: Annotated[
        str,
        typer.Option(
            metavar="EDGE",
            help="flush with the plates; or extends, by twice its thickness or more.",
        ),
    ] = "flush",
    json: JsonOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Predict two equal plates: capacitance, and the edge field's share of it.

    Example: halfpower predict plates --diameter 50mm --gap "1mm +- 20um"
    --permittivity 2.55
    """
    from ...analysis.predict import PlatePair, predict_plates
    from ..words import hand_out_prediction

    width_m = length_or_none(width, option="--width")
    length_m = length_or_none(length, option="--length")
    pair = PlatePair(
        gap_m=length_of(gap, option="--gap"),
        diameter_m=length_or_none(diameter, option="--diameter"),
        width_m=width_m,
        length_m=width_m if length_m is None else length_m,
        relative_permittivity=None
        if permittivity is None
        else _pure_number(permittivity, option="--permittivity"),
        sheet=_sheet(sheet),
    )
    hand_out_prediction(predict_plates(pair), json=json, overwrite=overwrite)


def _sheet(text: str) -> "Sheet":
    from ...analysis.errors import InputError

    if text == "flush":
        return "flush"
    if text == "extends":
        return "extends"
    raise InputError(f"--sheet {text!r} is not one of flush, extends")


@app.command("resonance")
@with_exit_status
def resonance(
    *,
    inductance: Annotated[str | None, _takes("--inductance", "INDUCTANCE")] = None,
    capacitance: Annotated[
        str | None,
        _takes("--capacitance", "CAPACITANCE", "All that lies across the coil."),
    ] = None,
    frequency: Annotated[str | None, _takes("--frequency", "FREQUENCY")] = None,
    json: JsonOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Give the third of inductance, capacitance and frequency from two of them.

    Example: halfpower predict resonance --inductance "3.3uH +- 5%"
    --capacitance "150pF +- 1%"
    """
    from ...analysis.predict import predict_resonance
    from ..words import hand_out_prediction

    prediction = predict_resonance(
        inductance_h=_option(inductance, "H"),
        capacitance_f=_option(capacitance, "F"),
        frequency_hz=_option(frequency, "Hz"),
    )
    hand_out_prediction(prediction, json=json, overwrite=overwrite)
