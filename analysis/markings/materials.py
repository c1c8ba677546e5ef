"""Insulators whose published ranges a measurement falls into: plausible, no more.

Permittivity and loss tangent do not identify a material: many share a range, fillers
and moisture move both, and a sheet may be a laminate. The ranges are for about 1 MHz
and 20 to 25 C.
"""

from dataclasses import dataclass

__all__ = ["MATERIALS", "Material", "candidates"]

WIDER = 2.0  # standard uncertainties that the ranges are widened by


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """One material's published ranges.

    Attributes
    ----------
    name
        What it is called.
    permittivity, loss_tangent
        Lowest and highest.
    """

    name: str
    permittivity: tuple[float, float]
    loss_tangent: tuple[float, float]


# Public material tables; entries marked (m) from memory.
MATERIALS = (
    Material(name="PTFE", permittivity=(2.0, 2.1), loss_tangent=(0.0, 2e-4)),
    Material(name="polypropylene", permittivity=(2.2, 2.3), loss_tangent=(2e-4, 7e-4)),
    Material(
        name="polyethylene", permittivity=(2.25, 2.35), loss_tangent=(0.8e-4, 5e-4)
    ),
    Material(
        name="polystyrene", permittivity=(2.45, 2.65), loss_tangent=(0.5e-4, 4e-4)
    ),
    Material(name="acrylic", permittivity=(2.5, 3.2), loss_tangent=(0.01, 0.04)),
    Material(
        name="polycarbonate", permittivity=(2.8, 3.1), loss_tangent=(0.007, 0.011)
    ),
    Material(name="fused silica", permittivity=(3.75, 3.85), loss_tangent=(0.0, 2e-4)),
    Material(
        name="phenolic paper (m)", permittivity=(4.0, 6.5), loss_tangent=(0.025, 0.06)
    ),
    Material(
        name="glass-epoxy board", permittivity=(4.2, 5.0), loss_tangent=(0.012, 0.035)
    ),
    Material(
        name="glass-epoxy without flame retardant (m)",
        permittivity=(4.6, 5.4),
        loss_tangent=(0.015, 0.03),
    ),
    Material(name="muscovite mica", permittivity=(5.4, 7.3), loss_tangent=(1e-4, 5e-4)),
    Material(
        name="soda-lime glass (m)", permittivity=(6.5, 7.8), loss_tangent=(0.004, 0.012)
    ),
    Material(name="alumina", permittivity=(8.8, 10.1), loss_tangent=(1e-4, 1e-3)),
)


def candidates(
    *,
    permittivity: float,
    u_permittivity: float,
    loss_tangent: float | None,
    most_loss: float | None,
    u_loss: float,
) -> str:
    """Say which materials' published ranges fit, in a sentence.

    Parameters
    ----------
    permittivity, u_permittivity
        Measured, with the standard uncertainty.
    loss_tangent, u_loss
        Measured; None where it was not resolved.
    most_loss
        What it then is below.
    """
    reach = WIDER * u_permittivity
    fitting = []
    for one in MATERIALS:
        low, high = one.permittivity
        if not low - reach <= permittivity <= high + reach:
            continue
        low, high = one.loss_tangent
        if loss_tangent is not None:
            slack = WIDER * u_loss
            if not low - slack <= loss_tangent <= high + slack:
                continue
        elif most_loss is not None and low > most_loss:
            continue
        fitting.append(one.name)
    if not fitting:
        return (
            "No common material's published ranges at about 1 MHz fit both values; a "
            "filled, moist or layered sheet may lie anywhere."
        )
    return (
        f"Published ranges at about 1 MHz that fit: {', '.join(fitting)}; that makes "
        "them plausible, and identifies none."
    )
