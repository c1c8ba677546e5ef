"""Inductance of a coil on a ring core: from A_L, or from permeability and size."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from ..errors import InputError
from ..quantity import Caution, Stated, describe
from .prediction import Prediction, predicted_quantities, refuse_wide
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
class RingCore:
    """A ring of rectangular section.

    Attributes
    ----------
    outer_m, inner_m, height_m
        Outer and inner diameter and height in m.
    relative_permeability
        Initial, at the frequency of use.
    """

    outer_m: Stated
    inner_m: Stated
    height_m: Stated
    relative_permeability: Stated

    def __post_init__(self) -> None:
        """Refuse a ring that cannot be."""
        for name, one in (
            ("outer diameter", self.outer_m),
            ("inner diameter", self.inner_m),
            ("height", self.height_m),
        ):
            if one.value <= 0.0:
                raise InputError(f"a core's {name} is above zero, not {one.value:g} m")
        if self.inner_m.value >= self.outer_m.value:
            raise InputError(
                f"the core's inner diameter of {self.inner_m.value * 1e3:g} mm is not "
                f"below the outer one of {self.outer_m.value * 1e3:g} mm"
            )
        if not 1.0 <= self.relative_permeability.value <= MOST_PERMEABLE:
            raise InputError(
                f"a core's relative permeability is 1 to {MOST_PERMEABLE:g}, not "
                f"{self.relative_permeability.value:g}"
            )
        refuse_wide(self.stated, whose="core's")
        apart = self.outer_m.value - self.inner_m.value
        if apart <= math.sqrt(3.0) * (self.outer_m.u + self.inner_m.u):
            raise InputError(
                "the doubt of the core's outer and inner diameters lets them meet; "
                "state them more closely"
            )

    @property
    def stated(self) -> dict[str, Stated]:
        """What was stated, by the names a budget shows."""
        return {
            "outer diameter": self.outer_m,
            "inner diameter": self.inner_m,
            "height": self.height_m,
            "relative permeability": self.relative_permeability,
        }


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


def predict_on_ring(core: RingCore, *, turns: int) -> Prediction:
    """Predict the inductance of turns on a ring core of known material and size.

    Raises
    ------
    InputError
        No number of turns.
    """
    _check_turns(turns)
    stated = {**core.stated, WINDING_SOURCE: WINDING}

    def deduction(at: Mapping[str, float]) -> Mapping[str, float]:
        one = ring_h(
            outer_m=at["outer diameter"],
            inner_m=at["inner diameter"],
            height_m=at["height"],
            relative_permeability=at["relative permeability"],
        ) * (1.0 + at[WINDING_SOURCE])
        return {"inductance": one * turns**2, "inductance_per_turn_squared": one}

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
                for name, one in core.stated.items()
            ),
        ),
        quantities=predicted_quantities(deduction, stated=stated, units=UNITS),
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
    stated = {"A_L": al_h, WINDING_SOURCE: WINDING}

    def deduction(at: Mapping[str, float]) -> Mapping[str, float]:
        return {"inductance": at["A_L"] * turns**2 * (1.0 + at[WINDING_SOURCE])}

    return Prediction(
        kind="toroid",
        title="Coil on a core of known A_L",
        inputs=(("turns", str(turns)), ("A_L", describe(al_h, unit="H"))),
        quantities=predicted_quantities(deduction, stated=stated, units=UNITS),
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
