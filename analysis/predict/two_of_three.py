"""Resonance: any two of inductance, capacitance and frequency give the third."""

import math
from collections.abc import Mapping

from ..errors import InputError
from ..quantity import Stated, Unit, describe
from .prediction import Prediction, predicted_quantities, refuse_wide

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


def _third(at: Mapping[str, float]) -> dict[str, float]:
    """(2 pi f)^2 L C = 1, solved for what is missing."""
    if "resonant_frequency" not in at:
        product = at["inductance"] * at["capacitance"]
        return {"resonant_frequency": 1.0 / (2.0 * math.pi * math.sqrt(product))}
    product = (2.0 * math.pi * at["resonant_frequency"]) ** -2.0
    if "inductance" not in at:
        return {"inductance": product / at["capacitance"]}
    return {"capacitance": product / at["inductance"]}


def _deduction(at: Mapping[str, float]) -> Mapping[str, float]:
    whole = dict(at) | _third(at)
    return whole | {"reactance": math.sqrt(whole["inductance"] / whole["capacitance"])}


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
        quantities=predicted_quantities(
            _deduction,
            stated=stated,
            units={missing: UNITS[missing], "reactance": "ohm"},
        ),
        remarks=(ACROSS,),
    )
