"""Fixture records and the history of a reference part, on disk."""

import csv
from datetime import datetime
from pathlib import Path

from ..analysis.control_chart import check_chart, check_reading
from ..analysis.errors import AnalysisError, InputError
from ..analysis.result import Result
from ..analysis.stated import Stated
from ..drivers.fixture_record import FixtureRecord, save_fixture_record
from .output import talk

__all__ = ["compare_with_history", "save_result"]

CHECKED = ("resonant_frequency", "loaded_q")
WORDS = {"resonant_frequency": "resonant frequency", "loaded_q": "loaded Q"}
COLUMNS = ("begun", *CHECKED)
LEAST = 5  # checks that make a history


def save_result(result: Result, path: Path, *, kind: str, made: datetime) -> None:
    """Write what was measured of a fixture as a record; say where.

    Raises
    ------
    InputError
        It cannot be written.
    """
    measured = {
        one.name: Stated(value=max(one.value, 0.0), u=one.standard_uncertainty)
        for one in result.quantities
    }
    instruments = dict(result.evidence.instruments)
    record = FixtureRecord(
        made=made,
        fixture=kind,
        generator=instruments["generator"],
        detector=instruments["detector"],
        frequency_hz=result.evidence.sweeps[0].found.resonant_frequency_hz,
        stray_capacitance=measured["stray_capacitance"],
        probe_capacitance=measured.get("probe_capacitance"),
        probe_resistance=measured.get("probe_resistance"),
    )
    save_fixture_record(record, path)
    talk(f'Wrote {path}; name it in the bench file: [fixture] record = "{path.name}"')


def compare_with_history(result: Result, path: Path) -> bool:
    """Compare a reference part's f0 and Q with its history; say how it stands.

    Parameters
    ----------
    result
        Today's.
    path
        The history, made if it is not there; a check that is in control is added.

    Returns
    -------
    bool
        Whether it is in control; with fewer than five checks before it, yes.

    Raises
    ------
    InputError
        The history cannot be read or written.
    """
    history = _read(path)
    values = {name: result[name].value for name in CHECKED}
    sound = True
    if len(history["loaded_q"]) < LEAST:
        talk(
            f"{len(history['loaded_q'])} checks before this one; from {LEAST} on it is "
            "told whether the bench is in control."
        )
    else:
        for name, value in values.items():
            sound &= _judge(name, value, history[name])
    if sound:
        _append(path, begun=result.evidence.begun, values=values)
    else:
        talk(
            "Out of control: see to contacts, couplings, probe and reference before "
            "anything is measured; this check was not added to the history."
        )
    return sound


def _judge(name: str, value: float, history: list[float]) -> bool:
    try:
        chart = check_chart(history, allow_for_few=True)
    except AnalysisError as error:
        raise InputError(
            f"the history of the {WORDS[name]} is of no use: {error}"
        ) from (error)
    verdict = check_reading(value, chart=chart)
    state = "in control" if verdict.in_control else "OUT OF CONTROL"
    broken = f" ({'; '.join(rule.text for rule in verdict.broken)})"
    talk(
        f"{WORDS[name]}: {value:.7g}, {verdict.deviation:+.1f} standard deviations "
        f"from {chart.n} checks ({chart.lower:.7g} to {chart.upper:.7g}): {state}"
        + ("" if verdict.in_control else broken)
    )
    return verdict.in_control


def _read(path: Path) -> dict[str, list[float]]:
    if not path.exists():
        return {name: [] for name in CHECKED}
    try:
        with path.open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        return {name: [float(row[name]) for row in rows] for name in CHECKED}
    except (OSError, UnicodeDecodeError, KeyError, TypeError, ValueError) as error:
        raise InputError(
            f"{path} is no history of checks ({error}); name another file"
        ) from error


def _append(path: Path, *, begun: str, values: dict[str, float]) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        is_new = not path.exists()
        with path.open("a", encoding="utf-8", newline="") as file:
            rows = csv.writer(file, lineterminator="\n")
            if is_new:
                rows.writerow(COLUMNS)
            rows.writerow((begun, *(repr(values[name]) for name in CHECKED)))
    except OSError as error:
        raise InputError(f"cannot write {path}: {error.strerror}") from error
