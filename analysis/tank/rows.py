"""Coils and capacitors of many parts at once, by the rules for a single one."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from ..errors import InputError
from ..fitting.batch import StoredFits
from ..uncertainty import BoolArray, DeducedRows, MeasuredRows, propagate_rows
from .attached import IMPOSSIBLE, REFERENCE, UNKNOWN, attached_shunt, loss_of
from .coil import coil_deduction
from .tank import Tank

__all__ = ["capacitors_again", "coils_again", "measured_rows"]

TWO_SIDED_95 = 1.96  # standard uncertainties: the single part's interval, if normal


def measured_rows(found: StoredFits, *, step: str = "") -> MeasuredRows:
    """Hand fitted f0 and Q on, with their covariances.

    Parameters
    ----------
    found
        Of M traces.
    step
        What the resonance is called among several; it is added to the names.
    """
    beside = f", {step}" if step else ""
    return MeasuredRows(
        names=(f"resonant_frequency{beside}", f"loaded_q{beside}"),
        values=found.values,
        covariance=found.covariance,
        degrees_of_freedom=found.degrees_of_freedom,
    )


def coils_again(tank: Tank, *, measured: MeasuredRows) -> DeducedRows:
    """Deduce coils from one resonance each, as `deduce_coil` does a single one.

    Parameters
    ----------
    tank
        Everything known but the coils, the same for all.
    measured
        Fitted ``resonant_frequency`` in Hz and ``loaded_q``.

    Returns
    -------
    DeducedRows
        In the order of `halfpower.analysis.tank.COIL_UNITS`. Refused are those that
        `deduce_coil` refuses: the fixture's own loading, or its leads, leave nothing.
    """
    found = propagate_rows(coil_deduction, stated=tank.stated, measured=(measured,))
    with np.errstate(invalid="ignore"):
        # A loading above the whole loss leaves a resistance below zero too.
        empty = (found.column("series_resistance")[0] <= 0.0) | (
            found.column("inductance")[0] <= 0.0
        )
    return _without(found, empty)


def capacitors_again(
    tank: Tank, *, reference: MeasuredRows, unknown: MeasuredRows
) -> DeducedRows:
    """Deduce capacitors put across a tank, as `deduce_parallel` does a single one.

    Parameters
    ----------
    tank
        Everything known of the tank but its coil.
    reference, unknown
        The resonances without them and with them, named with the steps
        ``reference`` and ``unknown``.

    Returns
    -------
    DeducedRows
        Refused are those whose frequency rose or whose loss fell when they were
        attached, and those whose capacitance does not stand out of its uncertainty.
    """

    def deduction(inputs: Mapping[str, Any]) -> Mapping[str, Any]:
        attached, omega = attached_shunt(inputs, step=UNKNOWN)
        return loss_of(attached, omega=omega)

    expected = {f"loaded_q, {REFERENCE}", f"loaded_q, {UNKNOWN}"}
    if {reference.names[1], unknown.names[1]} != expected:
        raise InputError("name the pairs with the steps reference and unknown")
    found = propagate_rows(deduction, stated=tank.stated, measured=(reference, unknown))
    loss, u_loss = found.column("dissipation_factor")
    capacitance, u_capacitance = found.column("capacitance")
    with np.errstate(invalid="ignore"):
        refused = unknown.values[:, 0] >= reference.values[:, 0]
        refused |= loss < -IMPOSSIBLE * u_loss
        refused |= capacitance <= TWO_SIDED_95 * u_capacitance
    return _without(found, refused)


def _without(found: DeducedRows, refused: BoolArray) -> DeducedRows:
    """Take out what was refused and what has no finite value."""
    bad = refused | ~(np.isfinite(found.values) & np.isfinite(found.u)).all(axis=1)
    values, u = found.values.copy(), found.u.copy()
    values[bad] = u[bad] = np.nan
    return DeducedRows(names=found.names, values=values, u=u, refused=refused)
