"""Coils and capacitors of many parts at once, by the rules for a single one."""

import numpy as np

from ..fitting.batch import StoredFits
from ..uncertainty import BoolArray, DeducedRows, Joint, Known, Member, propagate_rows
from .attached import IMPOSSIBLE, Steps
from .capacitor import across_deduction
from .coil import OneResonance, coil_deduction
from .correction import Resonance
from .tank import Tank

__all__ = ["capacitors_again", "coils_again", "measured_rows"]

TWO_SIDED_95 = 1.96  # standard uncertainties: the single part's interval, if normal


def measured_rows(found: StoredFits) -> Resonance[Member]:
    """Hand fitted f0 and Q of M traces on, with their covariances."""
    return Resonance.of(
        Joint(
            values=found.values,
            covariance=found.covariance,
            degrees_of_freedom=found.degrees_of_freedom,
        )
    )


def coils_again(tank: Tank, *, measured: Resonance[Member]) -> DeducedRows:
    """Deduce coils from one resonance each, as `deduce_coil` does a single one.

    Parameters
    ----------
    tank
        Everything known but the coils, the same for all.
    measured
        The fitted resonances.

    Returns
    -------
    DeducedRows
        In the order of `halfpower.analysis.tank.COIL_UNITS`. Refused are those that
        `deduce_coil` refuses: the fixture's own loading, or its leads, leave nothing.
    """
    known: OneResonance[Known] = OneResonance(tank=tank, resonance=measured)
    found = propagate_rows(coil_deduction, known)
    with np.errstate(invalid="ignore"):
        # A loading above the whole loss leaves a resistance below zero too.
        empty = (found.column("series_resistance")[0] <= 0.0) | (
            found.column("inductance")[0] <= 0.0
        )
    return _without(found, empty)


def capacitors_again(
    tank: Tank, *, reference: Resonance[Member], unknown: Resonance[Member]
) -> DeducedRows:
    """Deduce capacitors put across a tank, as `deduce_parallel` does a single one.

    Parameters
    ----------
    tank
        Everything known of the tank but its coil.
    reference, unknown
        The resonances without them and with them.

    Returns
    -------
    DeducedRows
        Refused are those whose frequency rose or whose loss fell when they were
        attached, and those whose capacitance does not stand out of its uncertainty.
    """
    known = Steps.known(tank, before=reference, loaded=unknown)
    found = propagate_rows(across_deduction, known)
    loss, u_loss = found.column("dissipation_factor")
    capacitance, u_capacitance = found.column("capacitance")
    before, after = (one.frequency_hz.column for one in (reference, unknown))
    with np.errstate(invalid="ignore"):
        refused = after >= before
        refused |= loss < -IMPOSSIBLE * u_loss
        refused |= capacitance <= TWO_SIDED_95 * u_capacitance
    return _without(found, refused)


def _without(found: DeducedRows, refused: BoolArray) -> DeducedRows:
    """Take out what was refused and what has no finite value."""
    bad = refused | ~(np.isfinite(found.values) & np.isfinite(found.u)).all(axis=1)
    values, u = found.values.copy(), found.u.copy()
    values[bad] = u[bad] = np.nan
    return DeducedRows(names=found.names, values=values, u=u, refused=refused)
