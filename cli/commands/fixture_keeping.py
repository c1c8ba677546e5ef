"""Fixture records and the history of a reference part, on disk."""

import csv
import math
from datetime import datetime
from pathlib import Path

from ...analysis.errors import AnalysisError, InputError
from ...analysis.lots import check_chart, check_reading
from ...analysis.quantity import Stated
from ...analysis.result import Result
from ...drivers.bench import FixtureRecord, save_fixture_record
from ..words import talk

__all__ = ["History", "save_result"]

CHECKED = ("resonant_frequency", "loaded_q")
WORDS = {"resonant_frequency": "resonant frequency", "loaded_q": "loaded Q"}
COLUMNS = ("begun", "part", *CHECKED)
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


class History:
    """The checks of one reference part so far.

    Parameters
    ----------
    path
        Where they are kept; the file need not be there yet.
    part
        What is checked: the part, and what it is checked with.

    Raises
    ------
    InputError
        The file is something else, of another part, or damaged.
    """

    def __init__(self, path: Path, *, part: str) -> None:
        self._path, self._part = path, part
        self._values: dict[str, list[float]] = {name: [] for name in CHECKED}
        if path.exists():
            self._read()

    def judge(self, result: Result) -> bool:
        """Compare today's f0 and Q with it; say how it stands.

        Parameters
        ----------
        result
            Today's; it is added if it is in control.

        Returns
        -------
        bool
            Whether it is in control; with fewer than five checks before it, yes.

        Raises
        ------
        InputError
            The history cannot be written, or its checks are all the same.
        """
        values = {name: result[name].value for name in CHECKED}
        count = len(self._values["loaded_q"])
        sound = True
        if count < LEAST:
            talk(
                f"{count} checks before this one; from {LEAST} on it is told whether "
                "the bench is in control."
            )
        else:
            for name, value in values.items():
                sound &= _judged(name, value, self._values[name])
        if sound:
            self._append(begun=result.evidence.begun, values=values)
        else:
            talk(
                "Out of control: see to contacts, couplings, probe and reference "
                "before anything is measured; this check was not added to the history."
            )
        return sound

    def _read(self) -> None:
        try:
            with self._path.open(encoding="utf-8", newline="") as file:
                rows = csv.DictReader(file)
                if tuple(rows.fieldnames or ()) != COLUMNS:
                    raise InputError(f"{self._path} is no history of checks")
                for line, row in enumerate(rows, start=2):
                    self._take(row, line=line)
        except (OSError, UnicodeDecodeError, csv.Error) as error:
            raise InputError(f"cannot read {self._path}: {error}") from error

    def _take(self, row: dict[str, str], *, line: int) -> None:
        if row["part"] != self._part:
            raise InputError(
                f"{self._path} is the history of {row['part']!r}, and this is a check "
                f"of {self._part!r}; name another file"
            )
        for name in CHECKED:
            try:
                value = float(row[name])
            except (TypeError, ValueError):
                value = math.nan
            if not 0.0 < value < math.inf:
                raise InputError(
                    f"{self._path}, line {line}: {name} is {row[name]!r}, no number "
                    "above zero; take the line out"
                )
            self._values[name].append(value)

    def _append(self, *, begun: str, values: dict[str, float]) -> None:
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            is_new = not self._path.exists()
            with self._path.open("a", encoding="utf-8", newline="") as file:
                rows = csv.writer(file, lineterminator="\n")
                if is_new:
                    rows.writerow(COLUMNS)
                measured = (repr(values[name]) for name in CHECKED)
                rows.writerow((begun, self._part, *measured))
        except OSError as error:
            raise InputError(f"cannot write {self._path}: {error.strerror}") from error


def _judged(name: str, value: float, history: list[float]) -> bool:
    try:
        chart = check_chart(history, allow_for_few=True)
    except AnalysisError as error:
        raise InputError(
            f"the checks of the {WORDS[name]} so far are all the same to the last "
            "digit, which no bench is (a simulated one with one seed?); begin "
            "another history"
        ) from error
    verdict = check_reading(value, chart=chart)
    state = "in control" if verdict.in_control else "OUT OF CONTROL"
    broken = f" ({'; '.join(rule.text for rule in verdict.broken)})"
    talk(
        f"{WORDS[name]}: {value:.7g}, {verdict.deviation:+.1f} standard deviations "
        f"from {chart.n} checks ({chart.lower:.7g} to {chart.upper:.7g}): {state}"
        + ("" if verdict.in_control else broken)
    )
    return verdict.in_control
