"""Work many parts out again at once: from stored readings to new verdicts.

What is stored is handed in, batch by batch; nothing here knows a record base.
"""

import math
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from types import MappingProxyType
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from ...analysis.fitting.batch import StoredFits, fit_stored
from ...analysis.lots import (
    DECISIONS,
    Conformity,
    Decision,
    Verdict,
    decide_rows,
    worst_of,
)
from ...analysis.quantity import Caution, FloatArray, Quantity
from ...analysis.tank import (
    CAPACITOR_UNITS,
    COIL_UNITS,
    REFERENCE,
    UNKNOWN,
    capacitors_again,
    coils_again,
    measured_rows,
)
from ...analysis.uncertainty import DeducedRows
from .constants import Constants
from .file import LotFile
from .outcome import LimitDecision

__all__ = [
    "PEAK",
    "STEPS",
    "UNITS",
    "StoredBatch",
    "decided_again",
    "fits_of",
    "results_again",
]

IntArray = NDArray[np.int64]
PEAK = "peak"  # the step of a measurement that has but one
STEPS = {"coil": (PEAK,), "capacitor": (REFERENCE, UNKNOWN)}
UNITS = {"coil": COIL_UNITS, "capacitor": CAPACITOR_UNITS}
VERDICTS = {
    Decision.ACCEPTED: Verdict.ACCEPTED,
    Decision.UNDECIDED: Verdict.UNDECIDED,
    Decision.REJECTED: Verdict.REJECTED,
}
NO_VALUE = Caution(
    code="no_value",
    text="the stored readings and the constants as they are stated now give no value",
)


class StoredBatch(Protocol):
    """Stored readings of one step of M parts, N each; NaN fills short rows."""

    @property
    def sequences(self) -> IntArray:
        """The parts' entries, shape (M,)."""

    @property
    def frequency_hz(self) -> FloatArray:
        """Shape (M, N)."""

    @property
    def amplitude_v(self) -> FloatArray:
        """Shape (M, N)."""

    @property
    def range_v(self) -> FloatArray:
        """Shape (M, N)."""

    @property
    def used(self) -> NDArray[np.bool_]:
        """Which readings results rest on, shape (M, N)."""


def fits_of(
    batches: Iterator[StoredBatch],
    *,
    sequences: IntArray,
    exponents: NDArray[np.float64],
) -> StoredFits:
    """Fit the stored readings of one step of many parts.

    Parameters
    ----------
    batches
        The readings; the next batch is had while one is fitted.
    sequences, exponents
        The parts' entries, rising, and their fixtures' k: shape (M,).
    """
    found = StoredFits.none(sequences.size)
    for batch in _ahead(batches):
        for rows, where, exponent in _mine(batch, sequences, exponents):
            some = fit_stored(
                batch.frequency_hz[rows],
                amplitude_v=batch.amplitude_v[rows],
                range_v=batch.range_v[rows],
                used=batch.used[rows],
                exponent=exponent,
            )
            found.put(where, some)
    return found


def _ahead(batches: Iterator[StoredBatch]) -> Iterator[StoredBatch]:
    """Give batches, the next one being read while one is worked on."""
    with ThreadPoolExecutor(max_workers=1) as reader:
        coming = reader.submit(next, batches, None)
        while (batch := coming.result()) is not None:
            coming = reader.submit(next, batches, None)
            yield batch


def _mine(
    batch: StoredBatch, sequences: IntArray, exponents: NDArray[np.float64]
) -> Iterator[tuple[NDArray[np.intp] | slice, NDArray[np.intp], float]]:
    """Give the rows of a batch that are wanted, and their places, by exponent."""
    where = np.minimum(np.searchsorted(sequences, batch.sequences), sequences.size - 1)
    wanted = sequences[where] == batch.sequences
    for exponent in np.unique(exponents[where[wanted]]):
        mask = wanted & (exponents[where] == exponent)
        # A slice takes no copy, and mostly all rows are wanted.
        rows = slice(None) if mask.all() else np.flatnonzero(mask)
        yield rows, where[mask], float(exponent)


def results_again(
    constants: Constants, *, fits: Mapping[str, StoredFits], procedure: str
) -> DeducedRows:
    """Deduce parts from their fits, step by step as the procedure has them."""
    tank = constants.tank()
    if procedure == "coil":
        return coils_again(tank, measured=measured_rows(fits[PEAK]))
    reference, unknown = (measured_rows(fits[step]) for step in (REFERENCE, UNKNOWN))
    return capacitors_again(tank, reference=reference, unknown=unknown)


def decided_again(
    found: DeducedRows,
    *,
    sequences: IntArray,
    lot: LotFile,
    unsettled: Mapping[int, Caution] = MappingProxyType({}),
) -> tuple[list[Verdict], dict[int, tuple[Caution, ...]]]:
    """Hold new values against the lot's limits, as a part's first ones were.

    Parameters
    ----------
    found
        The new values.
    sequences
        The parts' entries, shape (M,).
    lot
        The limits and the rule.
    unsettled
        Parts that were read too early, by entry, as they were told: new constants make
        them no better.

    Returns
    -------
    verdicts, reasons
        One verdict a part; reasons by entry, of what is not accepted.
    """
    by_limit = {}
    for name, limit in lot.limit.items():
        values, u = _column(found, limit.quantity)
        by_limit[name] = decide_rows(
            values, u=u, limits=limit.limits, guard_band=lot.decision.rule
        )
    worst = worst_of(list(by_limit.values()), count=sequences.size)
    order = [VERDICTS[one] for one in DECISIONS]
    verdicts = [order[code] for code in worst.tolist()]
    reasons: dict[int, tuple[Caution, ...]] = {}
    missing = np.asarray(np.isnan(found.values).all(axis=1))
    for row in np.flatnonzero(missing | (worst > 0)).tolist():
        if missing[row]:
            verdicts[row] = Verdict.UNMEASURED
            reasons[int(sequences[row])] = (NO_VALUE,)
            continue
        reasons[int(sequences[row])] = tuple(
            _reason(found, row, name=name, code=int(codes[row]), lot=lot)
            for name, codes in by_limit.items()
            if codes[row]
        )
    for row in np.flatnonzero(np.isin(sequences, list(unsettled))).tolist():
        entry = int(sequences[row])
        reasons[entry] = (*reasons.get(entry, ()), unsettled[entry])
        if verdicts[row] is Verdict.ACCEPTED:
            verdicts[row] = Verdict.UNDECIDED
    return verdicts, reasons


def _column(
    found: DeducedRows, quantity: str
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    if quantity in found.names:
        return found.column(quantity)
    nothing = np.full(len(found.values), math.nan)
    return nothing, nothing


def _reason(
    found: DeducedRows, row: int, *, name: str, code: int, lot: LotFile
) -> Caution:
    """Say why one limit does not accept one part, in the words of the lot's run."""
    limit = lot.limit[name]
    value, u = (float(one[row]) for one in _column(found, limit.quantity))
    known = math.isfinite(value)
    decision = LimitDecision(
        name=name,
        limit=limit,
        found=Quantity(
            name=limit.quantity, value=value, unit=limit.unit, standard_uncertainty=u
        )
        if known
        else None,
        conformity=Conformity(
            decision=DECISIONS[code],
            probability=math.nan,  # nobody asks: the decision is made
            acceptance=None,
            risk=None,
            cautions=(),
        )
        if known
        else None,
    )
    caution = decision.reason
    if caution is None:
        raise AssertionError(name)  # it is asked of what is not accepted alone
    return caution
