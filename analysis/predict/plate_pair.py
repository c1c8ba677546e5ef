"""Predict a parallel-plate capacitor: total, ideal and edge capacitance."""

import math
from dataclasses import dataclass, field
from typing import Generic

from ..errors import InputError
from ..plates import (
    EPS0,
    IDEALISATION,
    MOST_PERMITTIVE,
    THICKEST,
    THINNEST,
    Sheet,
    excess_over_air,
    kirchhoff_ratio,
    love_ratio,
    rectangle_ratio,
)
from ..quantity import Caution, Quantity, Stated, describe
from ..uncertainty import N, Number, named, values_of
from .prediction import Prediction, predicted, refuse_wide

__all__ = ["PlatePair", "predict_plates"]

UNITS = {
    "capacitance": "F",
    "ideal_capacitance": "F",
    "edge_capacitance": "F",
    "edge_share": "1",
}
EDGE = "edge field (thin plates, nothing near)"
EDGE_DOUBT = Stated.within(0.0, half_width=IDEALISATION)
HIGHEST = 1e5  # the most permittive ceramics are a tenth of that
GOOD_KIRCHHOFF = 0.2  # of the exact solution: beyond it the formula is none
NAIVE = 0.005  # an edge share below which the plain formula does


@dataclass(frozen=True, slots=True, kw_only=True)
class PlatePair:
    """Two equal plates, face to face: discs, or rectangles.

    Attributes
    ----------
    gap_m
        Between the plates, in m.
    diameter_m
        Of discs, in m.
    width_m, length_m
        Of rectangles, in m.
    relative_permittivity
        Of a sheet that fills the gap, if any.
    sheet
        What it does at the plates' edge: ``flush``, or ``extends`` beyond it by twice
        its thickness or more.
    """

    gap_m: Stated
    diameter_m: Stated | None = None
    width_m: Stated | None = None
    length_m: Stated | None = None
    relative_permittivity: Stated | None = None
    sheet: Sheet = "flush"

    def __post_init__(self) -> None:
        """Refuse plates that cannot be."""
        sides = (self.width_m, self.length_m)
        discs = self.diameter_m is not None and sides == (None, None)
        if not discs and (self.diameter_m is not None or None in sides):
            raise InputError(
                "plates are discs with a diameter or rectangles with a width and a "
                "length; give one or the other"
            )
        for name, one in self.dimensions.items():
            if one.value <= 0.0:
                raise InputError(
                    f"the plates' {name} is above zero, not {one.value:g} m"
                )
        refuse_wide(self.dimensions, whose="plates'")
        self._check_filling()
        _ratio(values_of(self.record))

    def _check_filling(self) -> None:
        filling = self.relative_permittivity
        if filling is None:
            if self.sheet == "extends":
                raise InputError("a sheet that extends needs its permittivity as well")
            return
        if not 1.0 <= filling.value <= HIGHEST:
            raise InputError(
                f"a relative permittivity is 1 to {HIGHEST:g}, not {filling.value:g}"
            )
        refuse_wide({"permittivity": filling}, whose="sheet's")

    @property
    def dimensions(self) -> dict[str, Stated]:
        """The dimensions that were stated, by the names a budget shows."""
        named = {
            "diameter": self.diameter_m,
            "width": self.width_m,
            "length": self.length_m,
            "gap": self.gap_m,
        }
        return {name: one for name, one in named.items() if one is not None}

    @property
    def record(self) -> "_Plates[Stated]":
        """What is known of them, as a deduction takes it."""
        return _Plates(
            diameter_m=self.diameter_m,
            width_m=self.width_m,
            length_m=self.length_m,
            gap_m=self.gap_m,
            edge=EDGE_DOUBT,
            relative_permittivity=self.relative_permittivity,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plates(Generic[N]):
    """Plates as a deduction takes them; see `PlatePair`."""

    diameter_m: N | None = field(metadata=named("diameter"))
    width_m: N | None = field(metadata=named("width"))
    length_m: N | None = field(metadata=named("length"))
    gap_m: N = field(metadata=named("gap"))
    edge: N = field(metadata=named(EDGE))
    relative_permittivity: N | None = field(metadata=named("relative permittivity"))


def _ratio(at: _Plates[Number]) -> float:
    if at.width_m is not None and at.length_m is not None:
        return rectangle_ratio(width=at.width_m, length=at.length_m, gap=at.gap_m)
    diameter_m: Number = at.diameter_m
    return love_ratio(2.0 * at.gap_m / diameter_m)


def _area_and_perimeter(at: _Plates[Number]) -> tuple[Number, Number]:
    if at.diameter_m is not None:
        return math.pi * at.diameter_m**2 / 4.0, math.pi * at.diameter_m
    width_m: Number = at.width_m
    length_m: Number = at.length_m
    return width_m * length_m, 2.0 * (width_m + length_m)


def _thickness_over_diameter(at: _Plates[Number]) -> float:
    area, perimeter = _area_and_perimeter(at)
    return float(at.gap_m * perimeter / (4.0 * area))


@dataclass(slots=True, kw_only=True, eq=False)
class _Edge:
    """The edge capacitance over eps0, in m; what was solved is kept."""

    pair: PlatePair
    solved: bool
    ratios: dict[tuple[Number, ...], float] = field(default_factory=dict)

    def __call__(self, at: _Plates[Number]) -> Number:
        area, perimeter = _area_and_perimeter(at)
        dimensions = (at.diameter_m, at.width_m, at.length_m, at.gap_m)
        if dimensions not in self.ratios:
            self.ratios[dimensions] = _ratio(at)
        edge = area / at.gap_m * (self.ratios[dimensions] - 1.0)
        if at.relative_permittivity is None or not self.solved:
            return edge
        # A doubt must not step off the solution's range.
        shape = min(max(_thickness_over_diameter(at), THINNEST), THICKEST)
        filling = min(max(at.relative_permittivity, 1.0), MOST_PERMITTIVE)
        return edge + perimeter * excess_over_air(
            shape, sheet=self.pair.sheet, relative_permittivity=filling
        )


def predict_plates(pair: PlatePair) -> Prediction:
    """Predict the capacitance of two plates, and what of it is the edge field.

    Returns
    -------
    Prediction
        ``capacitance``, ``ideal_capacitance`` (eps0 eps_r A/d), ``edge_capacitance``
        and ``edge_share`` (of the whole).

    Raises
    ------
    InputError
        An extending sheet outside what `edge_field` solves.

    Notes
    -----
    A flush sheet outside that range keeps the air's edge capacitance, which is 1 to
    5 % low; the edge's own doubt covers it.
    """
    at: _Plates[float] = values_of(pair.record)
    shape = _thickness_over_diameter(at)
    solved = THINNEST <= shape <= THICKEST
    if pair.relative_permittivity is not None and (solved or pair.sheet == "extends"):
        excess_over_air(
            shape,
            sheet=pair.sheet,
            relative_permittivity=pair.relative_permittivity.value,
        )
    quantities = _quantities(pair, _Edge(pair=pair, solved=solved))
    return Prediction(
        kind="plates",
        title="Two equal discs" if pair.diameter_m else "Two equal rectangles",
        inputs=_inputs(pair),
        quantities=quantities,
        remarks=_remarks(pair),
        warnings=_warnings(pair, edge_share=quantities[-1].value),
    )


def _quantities(pair: PlatePair, edge_over_eps0: _Edge) -> tuple[Quantity, ...]:
    def deduction(at: _Plates[Number]) -> dict[str, Number]:
        area, _ = _area_and_perimeter(at)
        filling = 1.0
        if at.relative_permittivity is not None:
            filling = max(at.relative_permittivity, 1.0)
        ideal = EPS0 * filling * area / at.gap_m
        edge = EPS0 * edge_over_eps0(at) * (1.0 + at.edge)
        return {
            "capacitance": ideal + edge,
            "ideal_capacitance": ideal,
            "edge_capacitance": edge,
            "edge_share": edge / (ideal + edge),
        }

    return predicted(deduction, pair.record, units=UNITS)


def _inputs(pair: PlatePair) -> tuple[tuple[str, str], ...]:
    named = [(name, describe(one, unit="m")) for name, one in pair.dimensions.items()]
    if pair.relative_permittivity is not None:
        text = describe(pair.relative_permittivity, unit="fraction")
        named.append(("relative permittivity", text))
        named.append(("sheet", pair.sheet))
    return tuple(named)


def _remarks(pair: PlatePair) -> tuple[str, ...]:
    remarks = []
    at: _Plates[float] = values_of(pair.record)
    if pair.diameter_m is not None:
        remarks.append(_kirchhoff(at, diameter_m=pair.diameter_m.value))
    if pair.relative_permittivity is not None:
        remarks.append(
            "The sheet is flush with the plates: the edge field stays nearly the air's."
            if pair.sheet == "flush"
            else "The sheet extends beyond the plates by twice its thickness or more: "
            "it fills the edge field too."
        )
    return tuple(remarks)


def _kirchhoff(at: _Plates[float], *, diameter_m: float) -> str:
    k = 2.0 * at.gap_m / diameter_m
    off = kirchhoff_ratio(k) / love_ratio(k) - 1.0
    if abs(off) > GOOD_KIRCHHOFF:
        return "Kirchhoff's formula does not hold for a gap so wide."
    area, _ = _area_and_perimeter(at)
    air_pf = EPS0 * area / at.gap_m * kirchhoff_ratio(k) * 1e12
    return (
        f"Kirchhoff's formula gives {air_pf:.5g} pF in air, {off * 100.0:+.2g} % from "
        "the exact solution."
    )


def _warnings(pair: PlatePair, *, edge_share: float) -> tuple[Caution, ...]:
    warnings = []
    if edge_share >= NAIVE:
        warnings.append(
            Caution(
                code="edge-field",
                text="The plain formula leaves out the edge field, "
                f"{edge_share * 100.0:.1f} % of the whole.",
            )
        )
    if pair.gap_m.u == 0.0:
        warnings.append(
            Caution(
                code="gap-taken-as-exact",
                text="The gap is taken as exact, and no capacitance is better known "
                "than the gap is: say its doubt.",
            )
        )
    return tuple(warnings)
