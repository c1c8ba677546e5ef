"""Resonance: any two of inductance, capacitance and frequency give the third."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Generic

from ..errors import InputError
from ..quantity import Stated, Unit, describe
from ..uncertainty import N, Number
from .prediction import Prediction, predicted, refuse_wide

__all__ = ["predict_resonance"]

UNITS: Mapping[str, Unit] = {
    "inductance": "H",
    "capacitance": "F",
    "resonant_frequency": "Hz",
}
ACROSS = (
    "The capacitance is all that lies across the coil: the part, the coil's own and "
    "the fixture's."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Circuit(Generic[N]):
    """Two of three; a budget names them as result documents do."""

    inductance: N | None
    capacitance: N | None
    resonant_frequency: N | None


def _deduction(at: _Circuit[Number]) -> dict[str, Number]:
    """(2 pi f)^2 L C = 1, solved for what is missing."""
    found: dict[str, Number] = {}
    henry: Number = at.inductance
    farad: Number = at.capacitance
    if at.resonant_frequency is None:
        root = math.sqrt(henry * farad)
        found["resonant_frequency"] = 1.0 / (2.0 * math.pi * root)
    else:
        product = (2.0 * math.pi * at.resonant_frequency) ** -2.0
        if henry is None:
            found["inductance"] = henry = product / farad
        else:
            found["capacitance"] = farad = product / henry
    return found | {"reactance": math.sqrt(henry / farad)}


def predict_resonance(
    *,
    inductance_h: Stated | None = None,
    capacitance_f: Stated | None = None,
    frequency_hz: Stated | None = None,
) -> Prediction:
    """Give the third of L, C and f from two, and the reactance of either part there.

    Parameters
    ----------
    inductance_h, capacitance_f, frequency_hz
        Two of them, in H, F (all that lies across the coil) and Hz (undamped).

    Raises
    ------
    InputError
        Not two of them, or one that is not above zero or hardly known.
    """
    named = {
        "inductance": inductance_h,
        "capacitance": capacitance_f,
        "resonant_frequency": frequency_hz,
    }
    stated = {name: one for name, one in named.items() if one is not None}
    if len(stated) != 2:  # noqa: PLR2004 - two of three
        raise InputError(
            "give two of inductance, capacitance and frequency, and the third follows"
        )
    worded = {name.replace("_", " "): one for name, one in stated.items()}
    for words, one in worded.items():
        if one.value <= 0.0:
            raise InputError(f"the {words} is above zero, not {one.value:g}")
    refuse_wide(worded, whose="circuit's")
    missing = next(name for name in named if name not in stated)
    return Prediction(
        kind="resonance",
        title="Resonance",
        inputs=tuple(
            (name.replace("_", " "), describe(one, unit=UNITS[name]))
            for name, one in stated.items()
        ),
        quantities=predicted(
            _deduction,
            _Circuit(**named),
            units={missing: UNITS[missing], "reactance": "ohm"},
        ),
        remarks=(ACROSS,),
    )
