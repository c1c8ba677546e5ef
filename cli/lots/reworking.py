"""Work a lot's results out again from its raw readings, with corrected constants.

All readings go through the batch fit first; then each group of parts that shares its
constants is deduced, decided on by the lot file's limits, and stored as new results
beside the old, a few thousand parts an entry.
"""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from importlib.metadata import version

import numpy as np
from numpy.typing import NDArray

from ...analysis.errors import InputError
from ...analysis.fitting.batch import StoredFits
from ...analysis.lots import Verdict
from ...analysis.quantity import Caution
from ...records.base import Circumstances, PartsInForce, RecordBase, ReworkEntry
from ...sweeps.lots import (
    STEPS,
    UNITS,
    Constants,
    LotFile,
    constants_in_force,
    decided_again,
    fits_of,
    parse_lot_text,
    results_again,
)
from ...sweeps.run import NOT_SETTLED

__all__ = ["Reworked", "Stamp", "rework_lot"]

IntArray = NDArray[np.int64]
AT_ONCE = 5000  # parts in a batch of readings, and in an entry of new results


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
        step: fits_of(
            base.readings(name, sweep=step, batch=AT_ONCE),
            sequences=sequences,
            exponents=exponents,
        )
        for step in STEPS[lot.lot.procedure]
    }
    unsettled = base.reasons_with(name, NOT_SETTLED)
    unmeasured = 0
    for group in groups:
        unmeasured += _store(
            base,
            name,
            group=group,
            fits=fits,
            sequences=sequences,
            lot=lot,
            unsettled=unsettled,
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
        kept = one.circumstances
        bench, fixture = now.written(kept)
        software = {**kept.software, "halfpower": version("halfpower")}
        groups.append(
            _Group(
                sequences=one.sequences,
                before=before,
                now=now,
                circumstances=replace(
                    kept, bench=bench, fixture=fixture, software=software
                ),
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


def _store(
    base: RecordBase,
    name: str,
    *,
    group: _Group,
    fits: Mapping[str, StoredFits],
    sequences: IntArray,
    lot: LotFile,
    unsettled: Mapping[int, Caution],
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
        verdicts, reasons = decided_again(
            found, sequences=some, lot=lot, unsettled=unsettled
        )
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
