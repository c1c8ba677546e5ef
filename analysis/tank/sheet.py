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

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Generic, Literal

from ..errors import AnalysisError, InputError
from ..fitting import ResonanceFit
from ..plates import EPS0
from ..quantity import Quantity
from ..uncertainty import Known, N, Number, propagate, values_of
from .attached import REFERENCE, attached_shunt, refuse_gain
from .correction import Resonance, measured_pair
from .sheet_sample import Plates, SheetSample, plate_area
from .shunt import Shunt
from .tank import Tank

__all__ = [
    "AIR",
    "METHODS",
    "SHEET",
    "SHEET_UNITS",
    "THICK",
    "Method",
    "deduce_sheet",
]

Method = Literal["calculated", "air", "two-thicknesses"]
METHODS: tuple[Method, ...] = ("calculated", "air", "two-thicknesses")
AIR, SHEET, THICK = "air", "sheet", "thicker sheet"
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
LEAST_THICKER = 1.2


def deduce_sheet(
    tank: Tank,
    *,
    sample: SheetSample,
    method: Method,
    found: Mapping[str, ResonanceFit],
) -> tuple[Quantity, ...]:
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
    tuple of Quantity
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
    pairs = {step: measured_pair(one, step=step) for step, one in found.items()}
    known: _Measured[Known] = _Measured(
        method=method,
        extends=sample.extends,
        edges=_edges(sample, permittivity=2.0),
        edge_air_f=sample.edge_f(
            sample.thickness_m.value, permittivity=1.0, in_air=True
        ),
        tank=tank,
        plates=sample.record,
        reference=pairs[REFERENCE],
        air=pairs.get(AIR),
        sheet=pairs[SHEET],
        thicker=pairs.get(THICK),
    )
    known = replace(known, edges=_settled_edges(known, sample=sample))
    result = propagate(_deduction, known, units=SHEET_UNITS)
    refuse_gain(result, name="loss_tangent")
    return result


def _settled_edges(known: "_Measured[Known]", *, sample: SheetSample) -> "_Edges":
    """Find the edge field about the permittivity that it gives."""
    plain: _Measured[float] = values_of(known)
    permittivity, edges = 2.0, known.edges
    for _ in range(PASSES):
        edges = _edges(sample, permittivity=permittivity)
        deduced = _deduction(replace(plain, edges=edges))
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
    return edges


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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Measured(Generic[N]):
    """A tank, plates and sheet, and the resonances of the steps.

    Attributes
    ----------
    method, extends
        How the edge field is known; whether the sheet is wider than the plates.
    edges, edge_air_f
        The calculated edge field, with the sheet and in air.
    """

    method: Method
    extends: bool
    edges: _Edges
    edge_air_f: float
    tank: Tank[N]
    plates: Plates[N]
    reference: Resonance[N]
    air: Resonance[N] | None
    sheet: Resonance[N]
    thicker: Resonance[N] | None

    def attached(self, loaded: Resonance[N]) -> tuple[Shunt, Number]:
        """Find what was across the tank in a step, and w there."""
        return attached_shunt(self.tank, before=self.reference, loaded=loaded)


def _deduction(at: _Measured[Number]) -> dict[str, Number]:
    plates = at.plates
    attached, omega = at.attached(at.sheet)
    area = plate_area(plates)
    spacing = plates.thickness_m + plates.bond_m
    constant, slope = (plates.edge_field * part for part in at.edges.thin)
    beside: dict[str, Number] = {"capacitance": attached.capacitance_f}
    air_f = plates.air_permittivity * EPS0 * area / plates.thickness_m
    edge_air = plates.edge_field * at.edge_air_f
    lead = plates.lead_f
    if at.air is not None:
        in_air, _ = at.attached(at.air)
        beside["capacitance_in_air"] = in_air.capacitance_f
        beside["calculated_in_air"] = air_f + edge_air
        if at.method == "air":
            lead = in_air.capacitance_f - air_f - edge_air
    if at.thicker is not None and at.method == "two-thicknesses":
        thicker = at.attached(at.thicker)
        return _two(at, thin=(attached, omega), thick=thicker) | beside
    whole = attached.capacitance_f - lead - constant
    apparent = whole / (EPS0 * area / spacing + slope)
    permittivity = plates.thickness_m / (
        spacing / apparent - plates.bond_m / plates.bond_permittivity
    )
    # Of a flush sheet's edge the field is in air and has no loss; of a wider one's,
    # that part which goes with the permittivity is in the sheet.
    lossy = apparent * (EPS0 * area / spacing + (slope if at.extends else 0.0))
    loss = attached.conductance_s / (omega * lossy)
    loss = loss * (permittivity / plates.thickness_m) * (spacing / apparent)
    return {"relative_permittivity": permittivity, "loss_tangent": loss} | beside


def _two(
    at: _Measured[Number],
    *,
    thin: tuple[Shunt, Number],
    thick: tuple[Shunt, Number],
) -> dict[str, Number]:
    """Deduce from two thicknesses: the slope of C against 1/t."""
    (attached, omega), (thicker, omega2) = thin, thick
    plates, field_share = at.plates, at.plates.edge_field
    (constant, slope), (constant2, slope2) = at.edges.thin, at.edges.thick
    thicker_m: Number = plates.thicker_m
    steps = 1.0 / plates.thickness_m - 1.0 / thicker_m
    ideal = EPS0 * plate_area(plates) * steps
    change = attached.capacitance_f - thicker.capacitance_f
    whole = change - field_share * (constant - constant2)
    inside = field_share * (slope - slope2)
    permittivity = whole / (ideal + inside)
    lossy = permittivity * (ideal + (inside if at.extends else 0.0))
    loss = attached.conductance_s / omega - thicker.conductance_s / omega2
    return {"relative_permittivity": permittivity, "loss_tangent": loss / lossy}
