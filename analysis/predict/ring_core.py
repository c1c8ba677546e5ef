"""Inductance of a coil on a ring core: from A_L, or from permeability and size."""

import math
from dataclasses import dataclass, field
from typing import Generic

from ..errors import InputError
from ..quantity import Caution, Stated, describe
from ..uncertainty import N, Number, named, stated_in
from .prediction import Prediction, predicted, refuse_wide
from .solenoid import MU0

__all__ = ["RingCore", "predict_on_al", "predict_on_ring", "ring_h"]

MOST_TURNS, MOST_PERMEABLE = 100_000, 1e6
LEAST_SURE_PERMEABILITY = 20.0
OWN = (
    "Self-capacitance, self-resonance and loss are the core's and the winding's, and "
    "no formula gives them: measure them."
)
WINDING = Stated.within(0.0, half_width=0.02)
WINDING_SOURCE = "winding's spread on the core (common practice)"
UNITS = {"inductance": "H", "inductance_per_turn_squared": "H"}


@dataclass(frozen=True, slots=True, kw_only=True)
class RingCore(Generic[N]):
    """A ring of rectangular section.

    Attributes
    ----------
    outer_m, inner_m, height_m
        Outer and inner diameter and height in m.
    relative_permeability
        Initial, at the frequency of use.
    """

    outer_m: N = field(metadata=named("outer diameter"))
    inner_m: N = field(metadata=named("inner diameter"))
    height_m: N = field(metadata=named("height"))
    relative_permeability: N = field(metadata=named("relative permeability"))

    def __post_init__(self) -> None:
        """Refuse a ring that cannot be."""
        known = stated_in(self)
        outer, inner, _, permeability = known.values()
        for name, one in list(known.items())[:3]:
            if one.value <= 0.0:
                raise InputError(f"a core's {name} is above zero, not {one.value:g} m")
        if inner.value >= outer.value:
            raise InputError(
                f"the core's inner diameter of {inner.value * 1e3:g} mm is not "
                f"below the outer one of {outer.value * 1e3:g} mm"
            )
        if not 1.0 <= permeability.value <= MOST_PERMEABLE:
            raise InputError(
                f"a core's relative permeability is 1 to {MOST_PERMEABLE:g}, not "
                f"{permeability.value:g}"
            )
        refuse_wide(known, whose="core's")
        if outer.value - inner.value <= math.sqrt(3.0) * (outer.u + inner.u):
            raise InputError(
                "the doubt of the core's outer and inner diameters lets them meet; "
                "state them more closely"
            )


def ring_h(
    *,
    outer_m: float,
    inner_m: float,
    height_m: float,
    relative_permeability: float,
    turns: float = 1.0,
) -> float:
    """Return mu0 mu_r N^2 h ln(b/a)/(2 pi), exact for a ring wound all round, in H."""
    section = height_m * math.log(outer_m / inner_m) / (2.0 * math.pi)
    return MU0 * relative_permeability * turns**2 * section


@dataclass(frozen=True, slots=True, kw_only=True)
class _OnRing(Generic[N]):
    turns: int
    core: RingCore[N]
    winding: N = field(metadata=named(WINDING_SOURCE))


def _on_ring(at: _OnRing[Number]) -> dict[str, Number]:
    core = at.core
    one = ring_h(
        outer_m=core.outer_m,
        inner_m=core.inner_m,
        height_m=core.height_m,
        relative_permeability=core.relative_permeability,
    ) * (1.0 + at.winding)
    return {"inductance": one * at.turns**2, "inductance_per_turn_squared": one}


@dataclass(frozen=True, slots=True, kw_only=True)
class _OnAl(Generic[N]):
    turns: int
    al_h: N = field(metadata=named("A_L"))
    winding: N = field(metadata=named(WINDING_SOURCE))


def _on_al(at: _OnAl[Number]) -> dict[str, Number]:
    return {"inductance": at.al_h * at.turns**2 * (1.0 + at.winding)}


def predict_on_ring(core: RingCore, *, turns: int) -> Prediction:
    """Predict the inductance of turns on a ring core of known material and size.

    Raises
    ------
    InputError
        No number of turns.
    """
    _check_turns(turns)
    warnings = _unstated(core.relative_permeability, what="permeability")
    if core.relative_permeability.value < LEAST_SURE_PERMEABILITY:
        warnings += (
            Caution(
                code="field-outside-core",
                text="The permeability is low: turns that do not cover the whole ring "
                "leave field outside it, and the inductance comes out higher.",
            ),
        )
    return Prediction(
        kind="toroid",
        title="Coil on a ring core",
        inputs=(
            ("turns", str(turns)),
            *(
                (name, describe(one, unit="fraction" if "perm" in name else "m"))
                for name, one in stated_in(core).items()
            ),
        ),
        quantities=predicted(
            _on_ring, _OnRing(turns=turns, core=core, winding=WINDING), units=UNITS
        ),
        remarks=(OWN,),
        warnings=warnings,
    )


def predict_on_al(al_h: Stated, *, turns: int) -> Prediction:
    """Predict the inductance of turns on a core of known A_L (H per turn squared).

    Raises
    ------
    InputError
        No number of turns, or A_L not above zero or hardly known.
    """
    _check_turns(turns)
    if al_h.value <= 0.0:
        raise InputError(f"A_L is above zero, not {al_h.value:g} H")
    refuse_wide({"A_L": al_h}, whose="core's")
    return Prediction(
        kind="toroid",
        title="Coil on a core of known A_L",
        inputs=(("turns", str(turns)), ("A_L", describe(al_h, unit="H"))),
        quantities=predicted(
            _on_al, _OnAl(turns=turns, al_h=al_h, winding=WINDING), units=UNITS
        ),
        remarks=(OWN,),
        warnings=_unstated(al_h, what="A_L"),
    )


def _check_turns(turns: int) -> None:
    if not 1 <= turns <= MOST_TURNS:
        raise InputError(f"a coil on a core has 1 to {MOST_TURNS} turns, not {turns}")


def _unstated(value: Stated, *, what: str) -> tuple[Caution, ...]:
    if value.u:
        return ()
    return (
        Caution(
            code="core-taken-as-exact",
            text=f"The core's {what} is taken as exact; 5 % for powder and 20 to 25 % "
            "for ferrite are usual (common practice, no published source).",
        ),
    )
