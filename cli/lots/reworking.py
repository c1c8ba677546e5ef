"""Work a lot's results out again from its raw readings, with corrected constants.

All readings go through the batch fit first; then each group of parts that shares its
constants is deduced, decided on by the lot file's limits, and stored as new results
beside the old, a few thousand parts an entry.
"""

import json
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from importlib.metadata import version

import numpy as np
from numpy.typing import NDArray

from ...analysis.errors import InputError
from ...analysis.fitting.batch import StoredFits, fit_stored
from ...analysis.lots import (
    DECISIONS,
    Conformity,
    Decision,
    Verdict,
    decide_rows,
    worst_of,
)
from ...analysis.quantity import Caution, Quantity
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
from ...records.base import (
    Circumstances,
    PartsInForce,
    ReadingBatch,
    RecordBase,
    ReworkEntry,
)
from ...sweeps.lots import LimitDecision, LotFile, parse_lot_text
from .constants import Constants, constants_in_force
from .keeping import PEAK

__all__ = ["Reworked", "Stamp", "fits_of", "results_again", "rework_lot"]

IntArray = NDArray[np.int64]
AT_ONCE = 5000  # parts in a batch of readings, and in an entry of new results
VERDICTS = {
    Decision.ACCEPTED: Verdict.ACCEPTED,
    Decision.UNDECIDED: Verdict.UNDECIDED,
    Decision.REJECTED: Verdict.REJECTED,
}
STEPS = {"coil": (PEAK,), "capacitor": (REFERENCE, UNKNOWN)}
UNITS = {"coil": COIL_UNITS, "capacitor": CAPACITOR_UNITS}
NO_VALUE = Caution(
    code="no_value",
    text="the stored readings and the constants as they are stated now give no value",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stamp:
    """What is written on new results.

    Attributes
    ----------
    reason
        Why they were worked out again.
    at
        When (ISO 8601, UTC).
    station
        Where.
    uuid
        Makes a new UUID for each entry.
    """

    reason: str
    at: str
    station: str
    uuid: Callable[[], str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reworked:
    """What became of a lot.

    Attributes
    ----------
    parts
        How many have new results.
    singly
        Of these, fitted by themselves.
    unmeasured
        Of these, without a value now.
    changed
        The constants that were corrected: name, before, now.
    """

    parts: int
    singly: int
    unmeasured: int
    changed: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Group:
    """Parts with the same constants."""

    sequences: IntArray
    before: Constants
    now: Constants
    circumstances: Circumstances


def rework_lot(
    base: RecordBase,
    name: str,
    *,
    correct: Callable[[Constants], Constants],
    stamp: Stamp,
    as_measured: bool = False,
) -> Reworked:
    """Work a lot out again and store the new results beside the old.

    Parameters
    ----------
    base, name
        The lot.
    correct
        Gives the constants now, from those in force.
    stamp
        What to write on them.
    as_measured
        Begin with the constants of the measurement, whatever was corrected since.

    Raises
    ------
    InputError
        No reason, no part with readings, or constants that cannot be had.
    BaseError
        The base cannot be read or written; entries stored before stay.
    """
    if not stamp.reason.strip():
        raise InputError("say why: a rework is kept with its reason")
    row = base.lot(name)
    lot = parse_lot_text(row.file_text, f"of lot {name!r}")
    groups = _groups(base.in_force(name, as_measured=as_measured), lot, correct=correct)
    if not groups:
        raise InputError(f"lot {name!r} has no measured part to work out again")
    sequences = np.sort(np.concatenate([one.sequences for one in groups]))
    exponents = np.zeros(sequences.size)
    for one in groups:
        exponents[np.searchsorted(sequences, one.sequences)] = one.now.exponent
    fits = {
        step: fits_of(base, name, sweep=step, sequences=sequences, exponents=exponents)
        for step in STEPS[lot.lot.procedure]
    }
    unmeasured = 0
    for group in groups:
        unmeasured += _store(
            base,
            name,
            group=group,
            fits=fits,
            sequences=sequences,
            lot=lot,
            stamp=stamp,
        )
    singly = np.logical_or.reduce([one.singly for one in fits.values()])
    return Reworked(
        parts=int(sequences.size),
        singly=int(singly.sum()),
        unmeasured=unmeasured,
        changed=_changed(groups),
    )


def _groups(
    found: Sequence[PartsInForce],
    lot: LotFile,
    *,
    correct: Callable[[Constants], Constants],
) -> list[_Group]:
    groups = []
    for one in found:
        before = constants_in_force(one.circumstances, lot)
        now = correct(before)
        kept = now.circumstances(one.circumstances)
        software = {**kept.software, "halfpower": version("halfpower")}
        groups.append(
            _Group(
                sequences=one.sequences,
                before=before,
                now=now,
                circumstances=replace(kept, software=software),
            )
        )
    return groups


def _changed(groups: Sequence[_Group]) -> tuple[tuple[str, str, str], ...]:
    found: dict[tuple[str, str, str], None] = {}
    for one in groups:
        for key, value in one.now.values.items():
            if one.before.values.get(key) != value:
                found[key, one.before.shown(key), one.now.shown(key)] = None
    return tuple(found)


def fits_of(
    base: RecordBase,
    name: str,
    *,
    sweep: str,
    sequences: IntArray,
    exponents: NDArray[np.float64],
) -> StoredFits:
    """Fit the stored readings of one step of a lot's parts.

    Parameters
    ----------
    base, name, sweep
        The lot, and the step's name.
    sequences, exponents
        The parts' entries, rising, and their fixtures' k: shape (M,).
    """
    found = StoredFits.none(sequences.size)
    for batch in _ahead(base.readings(name, sweep=sweep, batch=AT_ONCE)):
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


def _ahead(batches: Iterator[ReadingBatch]) -> Iterator[ReadingBatch]:
    """Give batches, the next one being read while one is worked on."""
    with ThreadPoolExecutor(max_workers=1) as reader:
        coming = reader.submit(next, batches, None)
        while (batch := coming.result()) is not None:
            coming = reader.submit(next, batches, None)
            yield batch


def _mine(
    batch: ReadingBatch, sequences: IntArray, exponents: NDArray[np.float64]
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


def _store(
    base: RecordBase,
    name: str,
    *,
    group: _Group,
    fits: Mapping[str, StoredFits],
    sequences: IntArray,
    lot: LotFile,
    stamp: Stamp,
) -> int:
    """Store a group's new results; return how many parts have none."""
    procedure = lot.lot.procedure
    units = UNITS[procedure]
    unmeasured = 0
    for begin in range(0, group.sequences.size, AT_ONCE):
        some = group.sequences[begin : begin + AT_ONCE]
        where = np.searchsorted(sequences, some)
        mine = {step: one.select(where) for step, one in fits.items()}
        found = results_again(group.now, fits=mine, procedure=procedure)
        verdicts, reasons = _decided(found, some, lot)
        unmeasured += verdicts.count(Verdict.UNMEASURED)
        base.rework(
            ReworkEntry(
                uuid=stamp.uuid(),
                lot=name,  # of a simulated lot it is not the file's
                at=stamp.at,
                station=stamp.station,
                procedure=procedure,
                reason=stamp.reason,
                circumstances=group.circumstances,
                names=tuple((name, units[name]) for name in found.names),
                sequences=some,
                values=found.values,
                uncertainties=found.u,
                verdicts=verdicts,
                reasons=reasons,
                document=_document(group, stamp, mine),
            )
        )
    return unmeasured


def _decided(
    found: DeducedRows, sequences: IntArray, lot: LotFile
) -> tuple[list[Verdict], dict[int, tuple[Caution, ...]]]:
    """Hold new values against the lot's limits, as a part's first ones were."""
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


def _document(group: _Group, stamp: Stamp, fits: Mapping[str, StoredFits]) -> str:
    changed = {
        key: {"before": before, "now": now} for key, before, now in _changed([group])
    }
    singly = np.logical_or.reduce([one.singly for one in fits.values()])
    return json.dumps(
        {
            "schema": "halfpower.rework/1",
            "reason": stamp.reason,
            "changed": changed,
            "fitted_singly": int(singly.sum()),
            "software": f"halfpower {version('halfpower')}",
        }
    )
