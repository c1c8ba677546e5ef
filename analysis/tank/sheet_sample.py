"""A sheet of insulator and the plates it is measured between, as they are known."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Generic

from ..errors import InputError
from ..plates import IDEALISATION, Sheet, edge_capacitance
from ..quantity import Stated
from ..uncertainty import N, Number, named, stated_in

__all__ = ["Plates", "SheetSample", "mean_thickness", "plate_area"]

# Dry air at 1 atm and 20 C: 1.000536; moist air to 1.0008 (handbook, from memory).
AIR_PERMITTIVITY = Stated.within(1.0006, half_width=0.0002)
EXACT, AIR_BOND = Stated(value=0.0), Stated(value=1.0)
LEAST_OVERHANG = 2.0  # thicknesses: what is beyond it adds 0.4 % to the edge or less
LENGTHS = (
    "plates' diameter",
    "plates' width",
    "plates' length",
    "sheet's thickness",
    "thicker sheet's thickness",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plates(Generic[N]):
    """Plates and sheet as a deduction takes them; see `SheetSample`."""

    diameter_m: N | None = field(metadata=named("plates' diameter"))
    width_m: N | None = field(metadata=named("plates' width"))
    length_m: N | None = field(metadata=named("plates' length"))
    thickness_m: N = field(metadata=named("sheet's thickness"))
    thicker_m: N | None = field(metadata=named("thicker sheet's thickness"))
    lead_f: N = field(metadata=named("plates' leads"))
    bond_m: N = field(metadata=named("bond line"))
    bond_permittivity: N = field(metadata=named("bond line's permittivity"))
    air_permittivity: N = field(metadata=named("permittivity of air"))
    edge_field: N = field(metadata=named("edge field"))


def plate_area(plates: Plates[Number]) -> Number:
    """Give the area of one plate in m^2."""
    if plates.width_m is not None and plates.length_m is not None:
        return plates.width_m * plates.length_m
    diameter_m: Number = plates.diameter_m
    return math.pi / 4.0 * diameter_m**2


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
        for name, one in stated_in(self.record).items():
            if name not in LENGTHS:
                continue
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
    def record(self) -> Plates[Stated]:
        """What is known of plates and sheet, as a deduction takes it."""
        return Plates(
            diameter_m=self.diameter_m,
            width_m=self.width_m,
            length_m=self.length_m,
            thickness_m=self.thickness_m,
            thicker_m=self.thicker_m,
            lead_f=self.lead_f,
            bond_m=self.bond_m,
            bond_permittivity=self.bond_permittivity,
            air_permittivity=AIR_PERMITTIVITY,
            edge_field=Stated.within(1.0, half_width=IDEALISATION),
        )

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
