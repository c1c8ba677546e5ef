"""Relative permittivity and loss tangent of a sheet between two plates.

The plates are put across a tank; what they add is found as a capacitor is, without them
and with them (`halfpower.analysis.tank.attached`). Of that, the sheet has

    eps0 A eps_app/s = Cx - Ce - Cl,

A the plates' area, s their spacing, Ce the edge field's part and Cl that of the plates'
leads. Three ways to know the last two:

``calculated``
    Ce from the field (`halfpower.analysis.plates.edge_field`), Cl as stated;
``air``
    the same plates at the same spacing in air give Ce + Cl = Cair - eps0 A/s, so that
    for a sheet flush with the plates eps = 1 + (Cx - Cair) s/(eps0 A);
``two-thicknesses``
    two sheets of one material, C against 1/t: the slope is eps0 eps A, what does not
    depend on the thickness drops out, and of the edge only its change is calculated.

A sheet wider than the plates carries part of the edge field: Ce grows with eps, and is
taken as a straight line about the value found.

A layer of thickness dg and permittivity eg in series (glue, or air where the plates do
not touch) gives t/eps = s/eps_app - dg/eg with s = t + dg. The field outside the sheet
has no loss: tan d = Gx/(w (Cx - Ce - Cl)), for the sheet in such a layer times
(eps/t) (s/eps_app).
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from ..errors import AnalysisError, InputError
from ..fitting import ResonanceFit
from ..plates import EPS0, IDEALISATION, Sheet, edge_capacitance
from ..quantity import Stated
from ..uncertainty import Deduced, propagate
from .attached import REFERENCE, attached_shunt, refuse_gain, step_pairs
from .shunt import Shunt
from .tank import Tank

__all__ = [
    "AIR",
    "METHODS",
    "SHEET",
    "SHEET_UNITS",
    "THICK",
    "Method",
    "SheetSample",
    "deduce_sheet",
    "mean_thickness",
]

Method = Literal["calculated", "air", "two-thicknesses"]
METHODS: tuple[Method, ...] = ("calculated", "air", "two-thicknesses")
AIR, SHEET, THICK = "air", "sheet", "thicker sheet"
# Dry air at 1 atm and 20 C: 1.000536; moist air to 1.0008 (handbook, from memory).
AIR_PERMITTIVITY = Stated.within(1.0006, half_width=0.0002)
SHEET_UNITS: Mapping[str, str] = {
    "relative_permittivity": "1",
    "loss_tangent": "1",
    "capacitance": "F",
    "capacitance_in_air": "F",
    "calculated_in_air": "F",
}
STEP = 0.02  # of the permittivity, for the edge field's slope
PASSES = 8
NEAR_ENOUGH = 1e-6
EXACT, AIR_BOND = Stated(value=0.0), Stated(value=1.0)
LEAST_THICKER = 1.2
LEAST_OVERHANG = 2.0  # thicknesses: what is beyond it adds 0.4 % to the edge or less


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetSample:
    """A sheet, the plates it is between, and what belongs to them.

    Attributes
    ----------
    thickness_m
        The sheet's, in m.
    diameter_m
        Of discs, in m; or
    width_m, length_m
        of rectangles, in m.
    overhang_m
        How far the sheet reaches beyond the plates on all sides, in m: 0 for one that
        is flush, or twice its thickness and more.
    lead_f
        Stray capacitance of the plates' leads, in F.
    bond_m, bond_permittivity
        A layer in series with the sheet: its thickness in m and its permittivity.
    thicker_m
        The second sheet's thickness in m, for the method that takes two.
    """

    thickness_m: Stated
    diameter_m: Stated | None = None
    width_m: Stated | None = None
    length_m: Stated | None = None
    overhang_m: float = 0.0
    lead_f: Stated = EXACT
    bond_m: Stated = EXACT
    bond_permittivity: Stated = AIR_BOND
    thicker_m: Stated | None = None

    def __post_init__(self) -> None:
        """Refuse plates and sheets that cannot be."""
        sides = (self.width_m, self.length_m)
        is_disc = self.diameter_m is not None and sides == (None, None)
        if not is_disc and (self.diameter_m is not None or None in sides):
            raise InputError(
                "plates are discs with a diameter or rectangles with a width and a "
                "length; give one or the other"
            )
        for name, one in self.lengths.items():
            if one.value <= 0.0:
                raise InputError(f"the {name} is above zero, not {one.value:g} m")
            if one.u > one.value / 10.0:
                raise InputError(
                    f"the {name} is stated too widely to lean on ({one.value:g} m "
                    f"± {2.0 * one.u:.1g} m); measure it to better than a tenth"
                )
        self._refuse_bond()
        self._refuse_overhang()
        for spacing_m in (
            self.thickness_m.value + self.bond_m.value,
            *(() if self.thicker_m is None else (self.thicker_m.value,)),
        ):
            self.edge_f(spacing_m, permittivity=1.0, in_air=not self.extends)

    def _refuse_bond(self) -> None:
        if not 0.0 <= self.bond_m.value < self.thickness_m.value:
            raise InputError(
                f"a bond line of {self.bond_m.value:g} m is not between 0 and the "
                f"sheet's thickness of {self.thickness_m.value:g} m"
            )
        if self.lead_f.value < 0.0:
            raise InputError(
                f"a stray of {self.lead_f.value:g} F of the plates' leads is below zero"
            )
        if self.bond_permittivity.value < 1.0:
            raise InputError(
                "a bond line's permittivity is 1 or more, not "
                f"{self.bond_permittivity.value:g}"
            )

    def _refuse_overhang(self) -> None:
        if self.overhang_m < 0.0:
            raise InputError(
                f"the plates are larger than their sheet by {-self.overhang_m:g} m: "
                "part of them has air between; cut a larger sheet, or take smaller "
                "plates"
            )
        thickest = max(
            one.value for one in (self.thickness_m, self.thicker_m) if one is not None
        )
        if 0.0 < self.overhang_m < LEAST_OVERHANG * thickest:
            raise InputError(
                f"an overhang of {self.overhang_m:g} m is neither flush nor wide: the "
                "edge field is known for 0 and for twice the thickness "
                f"({LEAST_OVERHANG * thickest:.2g} m) or more"
            )

    @property
    def extends(self) -> bool:
        """Whether the sheet is wider than the plates."""
        return self.overhang_m > 0.0

    @property
    def lengths(self) -> dict[str, Stated]:
        """The lengths by the names that a budget shows."""
        named = {
            "plates' diameter": self.diameter_m,
            "plates' width": self.width_m,
            "plates' length": self.length_m,
            "sheet's thickness": self.thickness_m,
            "thicker sheet's thickness": self.thicker_m,
        }
        return {name: one for name, one in named.items() if one is not None}

    @property
    def stated(self) -> dict[str, Stated]:
        """Every input by the name that a budget shows."""
        return self.lengths | {
            "plates' leads": self.lead_f,
            "bond line": self.bond_m,
            "bond line's permittivity": self.bond_permittivity,
            "permittivity of air": AIR_PERMITTIVITY,
            "edge field": Stated.within(1.0, half_width=IDEALISATION),
        }

    def edge_f(
        self, gap_m: float, *, permittivity: float, in_air: bool = False
    ) -> float:
        """Calculate the edge capacitance in F at a spacing in m."""
        around: Sheet = "extends" if self.extends else "flush"
        sizes = {
            name: None if one is None else one.value
            for name, one in (
                ("diameter_m", self.diameter_m),
                ("width_m", self.width_m),
                ("length_m", self.length_m),
            )
        }
        return edge_capacitance(
            gap_m=gap_m,
            sheet="air" if in_air else around,
            relative_permittivity=1.0 if in_air else permittivity,
            **sizes,
        ).value_f


def mean_thickness(readings: Sequence[Stated]) -> Stated:
    """Give the thickness to work with from readings at several places.

    Parameters
    ----------
    readings
        In m, each with the doubt of the instrument.

    Returns
    -------
    Stated
        The capacitance goes with the mean of 1/t, which is that of 1/mean(t) times
        1 + s^2/mean^2: the harmonic mean, with the scatter of the mean and the
        instrument's own doubt (which all of them share).

    Raises
    ------
    InputError
        None, or one that is not above zero.
    """
    if not readings:
        raise InputError("a sheet needs a thickness")
    for one in readings:
        if one.value <= 0.0:
            raise InputError(f"a sheet's thickness is above zero, not {one.value:g} m")
    if len(readings) == 1:
        return readings[0]
    count = len(readings)
    harmonic = count / math.fsum(1.0 / one.value for one in readings)
    mean = math.fsum(one.value for one in readings) / count
    variance = math.fsum((one.value - mean) ** 2 for one in readings) / (count - 1)
    shared = max(one.u for one in readings)
    return Stated(value=harmonic, u=math.hypot(math.sqrt(variance / count), shared))


def deduce_sheet(
    tank: Tank,
    *,
    sample: SheetSample,
    method: Method,
    found: Mapping[str, ResonanceFit],
) -> tuple[Deduced, ...]:
    """Deduce a sheet's permittivity and loss from the resonances of its plates.

    Parameters
    ----------
    tank
        Everything known of the tank but its coil.
    sample
        The sheet and its plates.
    method
        How the edge field and the leads are known.
    found
        The fits by step: ``reference`` (the plates taken off), ``sheet``, and ``air``
        or ``thicker sheet`` where the method needs it; ``air`` is welcome in any case,
        to compare.

    Returns
    -------
    tuple of Deduced
        ``relative_permittivity`` and ``loss_tangent``, then the capacitances of the
        plates: ``capacitance``, and with ``air`` ``capacitance_in_air`` and
        ``calculated_in_air``.

    Raises
    ------
    InputError
        The method lacks a step or a thickness.
    AnalysisError
        What the plates added is not above what the edge and the leads have; the loss
        fell; the permittivity comes out below 1.
    """
    _check(sample, method=method, found=found)
    permittivity, edges = 2.0, _edges(sample, permittivity=2.0)
    plain = {name: one.value for name, one in (tank.stated | sample.stated).items()}
    pairs = step_pairs(found)
    for pair in pairs:
        plain |= dict(zip(pair.names, pair.values, strict=True))
    for _ in range(PASSES):
        edges = _edges(sample, permittivity=permittivity)
        deduced = _deduction(plain, sample=sample, method=method, edges=edges)
        before, permittivity = permittivity, deduced["relative_permittivity"]
        if not permittivity >= 0.0 and sample.bond_m.value:
            raise AnalysisError(
                f"a bond line of {sample.bond_m.value:g} m alone would make the "
                "plates' capacitance smaller than it is: it is stated too thick, or "
                "its permittivity too low",
                bond_m=sample.bond_m.value,
            )
        if not permittivity >= 1.0:
            raise AnalysisError(
                f"the relative permittivity comes out as {permittivity:.3g}, and no "
                "sheet is below 1: what the plates add is little more than their edge "
                "field and leads; check thickness, size, and that the sheet was in",
                relative_permittivity=permittivity,
            )
        if abs(permittivity / before - 1.0) < NEAR_ENOUGH:
            break

    def deduction(inputs: Mapping[str, Any]) -> Mapping[str, Any]:
        return _deduction(inputs, sample=sample, method=method, edges=edges)

    result = propagate(
        deduction, stated={**tank.stated, **sample.stated}, measured=pairs
    )
    refuse_gain(result, name="loss_tangent")
    return result


def _check(
    sample: SheetSample, *, method: Method, found: Mapping[str, ResonanceFit]
) -> None:
    needed = {"calculated": (), "air": (AIR,), "two-thicknesses": (THICK,)}[method]
    for step in (REFERENCE, SHEET, *needed):
        if step not in found:
            raise InputError(
                f"the method {method!r} needs a sweep of the step {step!r}"
            )
    if method != "two-thicknesses":
        return
    if sample.thicker_m is None:
        raise InputError("the method with two thicknesses needs the second one")
    if sample.bond_m.value > 0.0:
        raise InputError(
            "the method with two thicknesses has no room for a bond line; leave it out"
        )
    if sample.thicker_m.value < LEAST_THICKER * sample.thickness_m.value:
        raise InputError(
            f"sheets of {sample.thickness_m.value:g} and {sample.thicker_m.value:g} m "
            "are too alike for the method with two thicknesses; the second must be a "
            "fifth thicker or more"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Edges:
    """The edge field as a + b eps, in F, of the sheet and of the thicker one."""

    thin: tuple[float, float]
    thick: tuple[float, float]


def _edges(sample: SheetSample, *, permittivity: float) -> _Edges:
    thin_m = sample.thickness_m.value
    thick_m = thin_m if sample.thicker_m is None else sample.thicker_m.value
    bond_m = sample.bond_m.value
    return _Edges(
        thin=_edge_line(sample, spacing_m=thin_m + bond_m, permittivity=permittivity),
        thick=_edge_line(sample, spacing_m=thick_m, permittivity=permittivity),
    )


def _edge_line(
    sample: SheetSample, *, spacing_m: float, permittivity: float
) -> tuple[float, float]:
    """Give the edge field in the sheet as a + b eps about a permittivity."""
    high = permittivity * (1.0 + STEP)
    at, above = (
        sample.edge_f(spacing_m, permittivity=one) for one in (permittivity, high)
    )
    slope = (above - at) / (high - permittivity)
    return at - slope * permittivity, slope


def _area(inputs: Mapping[str, Any]) -> Any:
    if "plates' diameter" in inputs:
        return math.pi / 4.0 * inputs["plates' diameter"] ** 2
    return inputs["plates' width"] * inputs["plates' length"]


def _deduction(
    inputs: Mapping[str, Any],
    *,
    sample: SheetSample,
    method: Method,
    edges: _Edges,
) -> dict[str, Any]:
    attached, omega = attached_shunt(inputs, step=SHEET)
    area = _area(inputs)
    thickness = inputs["sheet's thickness"]
    bond = inputs["bond line"]
    spacing = thickness + bond
    field = inputs["edge field"]
    constant, slope = (field * part for part in edges.thin)
    nominal = sample.thickness_m.value
    beside: dict[str, Any] = {"capacitance": attached.capacitance_f}
    air_f = inputs["permittivity of air"] * EPS0 * area / thickness
    edge_air = field * sample.edge_f(nominal, permittivity=1.0, in_air=True)
    lead = inputs["plates' leads"]
    air_key = f"resonant_frequency, {AIR}"
    if air_key in inputs:
        in_air, _ = attached_shunt(inputs, step=AIR)
        beside["capacitance_in_air"] = in_air.capacitance_f
        beside["calculated_in_air"] = air_f + edge_air
    if method == "two-thicknesses":
        by_slope = _two(
            inputs, attached=attached, omega=omega, edges=edges, sample=sample
        )
        return by_slope | beside
    if method == "air":
        lead = beside["capacitance_in_air"] - air_f - edge_air
    whole = attached.capacitance_f - lead - constant
    apparent = whole / (EPS0 * area / spacing + slope)
    permittivity = thickness / (
        spacing / apparent - bond / inputs["bond line's permittivity"]
    )
    # Of a flush sheet's edge the field is in air and has no loss; of a wider one's,
    # that part which goes with the permittivity is in the sheet.
    lossy = apparent * (EPS0 * area / spacing + (slope if sample.extends else 0.0))
    loss = attached.conductance_s / (omega * lossy)
    loss = loss * (permittivity / thickness) * (spacing / apparent)
    return {"relative_permittivity": permittivity, "loss_tangent": loss} | beside


def _two(
    inputs: Mapping[str, Any],
    *,
    attached: Shunt,
    omega: Any,
    edges: _Edges,
    sample: SheetSample,
) -> dict[str, Any]:
    """Deduce from two thicknesses: the slope of C against 1/t."""
    thicker, omega2 = attached_shunt(inputs, step=THICK)
    thin_m, thick_m = inputs["sheet's thickness"], inputs["thicker sheet's thickness"]
    field = inputs["edge field"]
    (constant, slope), (constant2, slope2) = edges.thin, edges.thick
    ideal = EPS0 * _area(inputs) * (1.0 / thin_m - 1.0 / thick_m)
    change = attached.capacitance_f - thicker.capacitance_f
    whole = change - field * (constant - constant2)
    inside = field * (slope - slope2)
    permittivity = whole / (ideal + inside)
    lossy = permittivity * (ideal + (inside if sample.extends else 0.0))
    loss = attached.conductance_s / omega - thicker.conductance_s / omega2
    return {"relative_permittivity": permittivity, "loss_tangent": loss / lossy}
