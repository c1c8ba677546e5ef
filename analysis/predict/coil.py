"""Predict a single-layer coil from its winding: L, C0, self-resonance, R and Q."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Generic

from ..errors import InputError
from ..quantity import Caution, Stated, describe
from ..uncertainty import N, Number, named, values_of
from .prediction import Prediction, predicted, refuse_wide
from .self_capacitance import LIMITS, LONGEST, SHORTEST, medhurst_self_capacitance_f
from .solenoid import inward_shift_m, solenoid_h
from .winding import Winding
from .winding_loss import (
    RESISTIVITY_OHM_M,
    exclusion,
    few_turns_share,
    internal_share,
    skin_depth_m,
    winding_ohm,
)

__all__ = ["predict_winding"]

ALONE = (
    "The resistance is the winding's alone: former, enamel, surface and surroundings "
    "lower a real coil's Q."
)
BESIDE = (
    "The self-capacitance is that of a coil on a solid former with one end grounded; "
    "a fixture adds its own."
)

UNITS = {
    "inductance": "H",
    "self_capacitance": "F",
    "self_resonant_frequency": "Hz",
    "series_resistance": "ohm",
    "unloaded_q": "1",
    "apparent_inductance": "H",
    "apparent_q": "1",
}
# What the model itself is worth. The table's own 5 % is stated by its author; the
# others are common practice, no published source: a hand-wound coil is no ideal helix
# and has leads (1 %); the inward shift is a long coil's (half of it either way); loss
# tables and real windings part by 15 %; a conductor's temperature and purity by 4 %
# (10 K of copper).
SHIFT = Stated.within(1.0, half_width=0.5)
TABLE = Stated.within(0.0, half_width=LIMITS)
LOSS = Stated.within(0.0, half_width=0.15)
METAL = Stated.within(0.0, half_width=0.04)
STEEP = 0.13  # times (pitch/diameter)^2: what loops are off, see `solenoid_h`
LIGHT_M_PER_S = 299_792_458.0
SHORT, CLOSE = 0.5, 0.65  # length/diameter and wire/pitch: the loss table is low there
NEAR_RESONANCE = 0.5  # of the self-resonance: w^2 L C0 = 0.25
THIN_SKIN = 3.0  # wire diameters to the skin depth, below which phi is only scaled


@dataclass(frozen=True, slots=True, kw_only=True)
class _Doubts(Generic[N]):
    """Everything that is in doubt: the winding's dimensions, and the model itself."""

    diameter_m: N = field(metadata=named("diameter"))
    wire_m: N = field(metadata=named("wire diameter"))
    pitch_m: N | None = field(metadata=named("pitch"))
    length_m: N | None = field(metadata=named("length"))
    frequency_hz: N | None = field(metadata=named("frequency"))
    shape: N = field(metadata=named("winding not ideal, leads"))
    shift: N = field(metadata=named("where the current flows in the wire"))
    table: N = field(metadata=named("self-capacitance table"))
    loss: N = field(metadata=named("proximity loss table"))
    metal: N = field(metadata=named("resistivity (temperature, purity)"))
    few: N = field(metadata=named("proximity of few turns"))


def _doubts(winding: Winding, *, frequency_hz: Stated | None) -> _Doubts[Stated]:
    share = few_turns_share(winding.turns)
    pitch_share = winding.pitch.value / winding.diameter_m.value
    return _Doubts(
        diameter_m=winding.diameter_m,
        wire_m=winding.wire_m,
        pitch_m=winding.pitch_m,
        length_m=winding.length_m if winding.pitch_m is None else None,
        frequency_hz=frequency_hz,
        shape=Stated.within(0.0, half_width=0.01 + STEEP * pitch_share**2),
        shift=SHIFT,
        table=TABLE,
        loss=LOSS,
        metal=METAL,
        few=Stated.within(share, half_width=min(share, 1.0 - share) / 2.0),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Model:
    """The winding at given values of everything that is in doubt."""

    winding: Winding

    def __call__(self, at: _Doubts[Number]) -> dict[str, Number]:
        found: dict[str, Number] = {}
        frequency = at.frequency_hz
        inductance = self.inductance_h(at, frequency_hz=frequency)
        found["inductance"] = inductance
        if self.in_table:
            found |= self._resonance(at, start_h=inductance)
        if frequency is not None:
            found |= self._loss(at, found, frequency_hz=frequency)
        return found

    @property
    def in_table(self) -> bool:
        winding = self.winding
        shape = winding.pitch.value * winding.turns / winding.diameter_m.value
        return SHORTEST <= shape <= LONGEST

    def pitch_m(self, at: _Doubts[Number]) -> Number:
        if at.pitch_m is not None:
            return at.pitch_m
        length_m: Number = at.length_m
        return length_m / self.winding.turns

    def wire_m(self, at: _Doubts[Number]) -> Number:
        """Give the wire's diameter; no doubt lets turns overlap."""
        return min(at.wire_m, self.pitch_m(at))

    def lumped_to_hz(self, values: Mapping[str, float]) -> float:
        """Up to where the coil is a coil: its self-resonance, or a quarter wave."""
        if "self_resonant_frequency" in values:
            return values["self_resonant_frequency"]
        wire = math.pi * self.winding.diameter_m.value * self.winding.turns
        return LIGHT_M_PER_S / (4.0 * wire)

    def resistivity(self, at: _Doubts[Number]) -> Number:
        return RESISTIVITY_OHM_M[self.winding.conductor] * (1.0 + at.metal)

    def inductance_h(
        self, at: _Doubts[Number], *, frequency_hz: float | None
    ) -> Number:
        share, shift_m = 1.0, 0.0
        wire_m, pitch_m = self.wire_m(at), self.pitch_m(at)
        if frequency_hz is not None:
            skin_m = skin_depth_m(frequency_hz, resistivity_ohm_m=self.resistivity(at))
            share = internal_share(wire_m, skin_m=skin_m)
            shift_m = at.shift * inward_shift_m(
                wire_m=wire_m,
                pitch_m=pitch_m,
                exclusion=exclusion(wire_m, skin_m=skin_m),
            )
        ideal = solenoid_h(
            diameter_m=at.diameter_m,
            pitch_m=pitch_m,
            turns=self.winding.turns,
            wire_m=wire_m,
            internal_share=share,
            shift_m=shift_m,
        )
        return ideal * (1.0 + at.shape)

    def _resonance(self, at: _Doubts[Number], *, start_h: float) -> Mapping[str, float]:
        shape = self.pitch_m(at) * self.winding.turns / at.diameter_m
        # A doubt must not step off the table's end.
        shape = min(max(shape, SHORTEST), LONGEST)
        own_f = medhurst_self_capacitance_f(
            diameter_m=at.diameter_m, length_m=shape * at.diameter_m
        )
        own_f *= 1.0 + at.table
        inductance = start_h
        for _ in range(3):  # the inductance is that at the self-resonance
            resonance = 1.0 / (2.0 * math.pi * math.sqrt(inductance * own_f))
            inductance = self.inductance_h(at, frequency_hz=resonance)
        return {"self_capacitance": own_f, "self_resonant_frequency": resonance}

    def _loss(
        self,
        at: _Doubts[Number],
        found: Mapping[str, float],
        *,
        frequency_hz: float,
    ) -> Mapping[str, float]:
        omega = 2.0 * math.pi * frequency_hz
        resistance = winding_ohm(
            diameter_m=at.diameter_m,
            pitch_m=self.pitch_m(at),
            turns=self.winding.turns,
            wire_m=self.wire_m(at),
            frequency_hz=frequency_hz,
            resistivity_ohm_m=self.resistivity(at),
            table_factor=1.0 + at.loss,
            excess_share=at.few,
        )
        q = omega * found["inductance"] / resistance
        loss = {"series_resistance": resistance, "unloaded_q": q}
        if "self_capacitance" in found:
            left = 1.0 - omega**2 * found["inductance"] * found["self_capacitance"]
            loss |= {
                "apparent_inductance": found["inductance"] / left,
                "apparent_q": q * left,
            }
        return loss


def predict_winding(
    winding: Winding, *, frequency_hz: Stated | None = None
) -> Prediction:
    """Predict a single-layer coil.

    Parameters
    ----------
    winding
        The coil's dimensions, with their doubts.
    frequency_hz
        In Hz, where resistance, Q and the radio-frequency inductance are wanted.
        Without it the inductance is that with a uniform current (low frequency).

    Returns
    -------
    Prediction
        ``inductance``, ``self_capacitance``, ``self_resonant_frequency``; with a
        frequency below the self-resonance also ``series_resistance``, ``unloaded_q``
        and, below half of it, ``apparent_inductance`` and ``apparent_q``, which are
        what a measurement sees that does not take the self-capacitance out.

    Raises
    ------
    InputError
        The frequency is not above zero, or the dimensions are too doubtful.
    """
    if frequency_hz is not None and frequency_hz.value <= 0.0:
        raise InputError(f"the frequency is above zero, not {frequency_hz.value:g} Hz")
    dimensions = winding.dimensions
    if winding.pitch_m is not None:
        dimensions.pop("length", None)
    if frequency_hz is not None:
        dimensions["frequency"] = frequency_hz
    refuse_wide(dimensions, whose="coil's")
    doubts = _doubts(winding, frequency_hz=frequency_hz)
    plain: _Doubts[float] = values_of(doubts)
    model = _Model(winding=winding)
    units, warnings = _wanted(model, plain, frequency_hz=frequency_hz)
    return Prediction(
        kind="coil",
        title="Single-layer coil",
        inputs=_inputs(winding, frequency_hz),
        quantities=predicted(model, doubts, units=units),
        remarks=_remarks(model, plain, frequency_hz=frequency_hz),
        warnings=warnings,
    )


def _wanted(
    model: _Model, plain: _Doubts[float], *, frequency_hz: Stated | None
) -> tuple[dict[str, str], tuple[Caution, ...]]:
    """Say which quantities can be given, and why the others cannot."""
    units, warnings = dict(UNITS), []
    if not model.in_table:
        warnings.append(
            Caution(
                code="outside-table",
                text="The winding's length over diameter is outside the "
                "self-capacitance table (0.1 to 50): no self-capacitance, no "
                "self-resonance.",
            )
        )
    if frequency_hz is None:
        return units, tuple(warnings)
    lumped = _lumped(frequency_hz, lumped_to_hz=model.lumped_to_hz(model(plain)))
    if lumped is not None:
        without, caution = lumped
        warnings.append(caution)
        units = {name: unit for name, unit in units.items() if name not in without}
    if "unloaded_q" in units:
        warnings += _loss_cautions(model.winding, frequency_hz)
    return units, tuple(warnings)


def _lumped(
    frequency_hz: Stated, *, lumped_to_hz: float
) -> tuple[tuple[str, ...], Caution] | None:
    """Say what cannot be given so near the self-resonance, or beyond it."""
    share = frequency_hz.value / lumped_to_hz
    if share <= NEAR_RESONANCE:
        return None
    where = (
        f"{frequency_hz.value / 1e6:.4g} MHz is {share:.2g} of the frequency of the "
        f"coil's self-resonance (about {lumped_to_hz / 1e6:.3g} MHz): "
    )
    if share < 1.0:
        text = "it is no lumped inductance there, so its apparent values are not given."
        return ("apparent_inductance", "apparent_q"), Caution(
            code="near-self-resonance", text=where + text
        )
    text = "no resistance or Q of the winding can be given there."
    without = ("series_resistance", "unloaded_q", "apparent_inductance", "apparent_q")
    return without, Caution(code="above-self-resonance", text=where + text)


def _loss_cautions(winding: Winding, frequency_hz: Stated) -> list[Caution]:
    cautions = []
    if _skin_ratio(winding, frequency_hz) < 1.0:
        cautions.append(
            Caution(
                code="thick-skin",
                text="The skin is not thin against the wire: Medhurst's proximity "
                "ratio is scaled down from where it was measured.",
            )
        )
    shape = winding.pitch.value * winding.turns / winding.diameter_m.value
    if shape < SHORT and winding.wire_m.value > CLOSE * winding.pitch.value:
        cautions.append(
            Caution(
                code="short-and-close",
                text="The winding is short and its turns are close: straight wires "
                "solved exactly have up to twice the table's loss there, so the Q may "
                "be well below the prediction.",
            )
        )
    return cautions


def _skin_ratio(winding: Winding, frequency_hz: Stated) -> float:
    """Wire diameter over skin depth, as a multiple of what counts as thin."""
    rho = RESISTIVITY_OHM_M[winding.conductor]
    skin_m = skin_depth_m(frequency_hz.value, resistivity_ohm_m=rho)
    return winding.wire_m.value / skin_m / THIN_SKIN


def _remarks(
    model: _Model, plain: _Doubts[float], *, frequency_hz: Stated | None
) -> tuple[str, ...]:
    low = model.inductance_h(plain, frequency_hz=None)
    if frequency_hz is None:
        thin = model.inductance_h(plain, frequency_hz=1e12)
        first = (
            "The inductance is that at low frequency; where the skin is thin it is "
            f"{(1.0 - thin / low) * 100.0:.1f} % lower. Say --frequency for resistance "
            "and Q."
        )
        return (first, BESIDE) if model.in_table else (first,)
    here = model.inductance_h(plain, frequency_hz=frequency_hz.value)
    rho = RESISTIVITY_OHM_M[model.winding.conductor]
    skin_um = skin_depth_m(frequency_hz.value, resistivity_ohm_m=rho) * 1e6
    skin = (
        f"Skin depth {skin_um:.4g} µm; the inductance is "
        f"{(1.0 - here / low) * 100.0:.1f} % below that at low frequency."
    )
    return (skin, ALONE, BESIDE) if model.in_table else (skin, ALONE)


def _inputs(
    winding: Winding, frequency_hz: Stated | None
) -> tuple[tuple[str, str], ...]:
    named = [
        (name, describe(one, unit="m")) for name, one in winding.dimensions.items()
    ]
    named += [("turns", f"{winding.turns:g}"), ("conductor", winding.conductor)]
    if frequency_hz is not None:
        named.append(("frequency", describe(frequency_hz, unit="Hz")))
    return tuple(named)
