"""Readings files, read with care: CSV with a header.

Columns are ``frequency_hz`` (or ``capacitance_f``, for a sweep of a calibrated variable
capacitor at one frequency) and one of ``amplitude_v`` or ``power_dbm``; with volts,
``u_amplitude_v`` may state each reading's standard uncertainty. Others are ignored, and
lines that begin with ``#`` are comments. A measurement's own file has the columns
``range_v`` (the detector's full scale, which weighs the readings), ``time_s``,
``phase``, ``capacitance_f`` and ``step`` besides; `halfpower fit` reads it, step by
step, and a measurement that was interrupted goes on from it.
"""

import csv
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ...analysis.errors import InputError
from ...analysis.fitting import Abscissa, Trace
from ...analysis.given_text import shown
from ...analysis.reading import Reading
from .text_file import file_text

__all__ = ["SweepInFile", "read_comments", "read_steps", "read_sweep"]

MOST_NAMED = 20  # sweeps in one sentence
AMPLITUDES = ("amplitude_v", "power_dbm")
# Hz, F and V alike: the fit's powers of them stay within what a number holds.
LEAST, MOST, MOST_DBM = 1e-18, 1e15, 300.0
ABSCISSAS = ("frequency_hz", "capacitance_f")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SweepInFile:
    """One sweep of a readings file.

    Attributes
    ----------
    trace
        The readings; of a sweep with a variable capacitor, over its settings in F.
    abscissa
        What was swept: the frequency, or a capacitor at one frequency.
    step
        What the file calls the sweep; empty where it has but one.
    frequency_hz
        The frequency of a sweep with a capacitor, in Hz; 0: the file does not say.
    """

    trace: Trace
    abscissa: Abscissa = Abscissa.FREQUENCY
    step: str = ""
    frequency_hz: float = 0.0


def read_sweep(path: Path, *, step: str = "") -> SweepInFile:
    """Read a readings file as a trace.

    Parameters
    ----------
    path
        The file.
    step
        Which sweep to read of a file that holds several.

    Raises
    ------
    InputError
        Missing or unreadable, no header, a needed column missing or named twice, a
        row longer than the header (a decimal comma makes one), a value that is not a
        number in its range (the sentence says which line); or several sweeps, and not
        said which.
    """
    table = _table(path).of_step(step)
    abscissa, kind = table.abscissa, _amplitude_column(table.names, path=path)
    setting = table.column(abscissa.column)
    amplitude = table.column(kind)
    try:
        if kind == "power_dbm":
            trace = Trace.from_power_dbm(frequency_hz=setting, power_dbm=amplitude)
        else:
            trace = Trace(
                frequency_hz=np.array(setting),
                amplitude_v=np.array(amplitude),
                u_amplitude_v=table.weights(),
                u_scale_known="u_amplitude_v" in table.names,
            )
    except InputError as error:
        raise InputError(f"readings file {path}: {error}", path=path) from error
    frequency_hz = 0.0
    if abscissa is Abscissa.CAPACITANCE and "frequency_hz" in table.names:
        frequency_hz = table.column("frequency_hz")[0]
    return SweepInFile(
        trace=trace, abscissa=abscissa, step=step, frequency_hz=frequency_hz
    )


def read_comments(path: Path) -> dict[str, str]:
    """Read a measurement's own file's ``# name: text`` lines.

    Raises
    ------
    InputError
        The file is missing or unreadable.
    """
    comments: dict[str, str] = {}
    for line in file_text(path, what="readings file").splitlines():
        name, colon, text = line.removeprefix("# ").partition(": ")
        if line.startswith("# ") and colon:
            comments.setdefault(name, text)
    return comments


def read_steps(path: Path) -> tuple[dict[str, list[Reading]], bool]:
    """Read every sweep of a measurement's own file, to go on from there.

    Returns
    -------
    tuple
        Step to readings, in the order taken; and whether the last line was cut short
        (the power failed while it was written) and is left out.

    Raises
    ------
    InputError
        As `read_sweep`, or levels in dBm, which no measurement writes; a line in the
        middle that is not whole.
    """
    table = _table(path)
    names = table.names
    needed = {"frequency_hz", "step"} <= set(names)
    if not needed or _amplitude_column(names, path=path) != "amplitude_v":
        raise InputError(f"readings file {path} is not a measurement's own")
    whole = table.without_a_cut_end()
    steps = {step: whole.of_step(step).readings() for step in whole.steps}
    return steps, len(whole.rows) < len(table.rows)


def _table(path: Path) -> "_Table":
    """Read a readings file's header and lines."""
    text = file_text(path, what="readings file")
    try:
        rows = list(_rows(text))
    except csv.Error as error:
        raise InputError(f"readings file {path} is not CSV: {error}") from error
    header = rows[0] if rows else None
    if header is None:
        raise InputError(f"readings file {path} is empty", path=path)
    names = [name.strip() for name in header[1]]
    _amplitude_column(names, path=path)
    table = _Table(path=path, names=names, rows=rows[1:])
    if not table.rows:
        raise InputError(f"readings file {path} holds no readings", path=path)
    return table


@dataclass(frozen=True, slots=True, kw_only=True)
class _Table:
    """The lines below a header, with their numbers."""

    path: Path
    names: list[str]
    rows: list[tuple[int, list[str]]]

    @property
    def steps(self) -> tuple[str, ...]:
        """The sweeps that the file holds, in order; one without a name: ``""``."""
        return tuple(dict.fromkeys(self._text(row, "step") for _, row in self.rows))

    def of_step(self, step: str) -> "_Table":
        """Keep one sweep's lines.

        Raises
        ------
        InputError
            There are several and none is named, or none of that name.
        """
        steps = self.steps
        if not step and len(steps) > 1:
            raise InputError(
                f"readings file {self.path} holds several sweeps ("
                f"{', '.join(map(shown, steps[:MOST_NAMED]))}); say which with --step",
                path=self.path,
            )
        wanted = step or steps[0]
        if wanted not in steps:
            raise InputError(
                f"readings file {self.path} has no sweep {step!r}; it holds "
                f"{', '.join(map(shown, steps[:MOST_NAMED]))}",
                path=self.path,
            )
        rows = [line for line in self.rows if self._text(line[1], "step") == wanted]
        return _Table(path=self.path, names=self.names, rows=rows)

    def without_a_cut_end(self) -> "_Table":
        """Leave the last line out where it is cut short.

        Raises
        ------
        InputError
            Another line is not whole, or none is left.
        """
        damaged = [line for line, row in self.rows if len(row) != len(self.names)]
        if damaged and damaged != [self.rows[-1][0]]:
            raise InputError(
                f"readings file {self.path}, line {damaged[0]}: not a whole reading; "
                "take the line out, or begin anew"
            )
        rows = self.rows[:-1] if damaged else self.rows
        if not rows:
            raise InputError(
                f"readings file {self.path} holds no readings", path=self.path
            )
        return _Table(path=self.path, names=self.names, rows=rows)

    def readings(self) -> list[Reading]:
        """Give the lines as a measurement took them."""
        columns = zip(
            self.column("frequency_hz"),
            self.column("amplitude_v"),
            self.optional("range_v"),
            self.optional("capacitance_f"),
            self.optional("time_s"),
            strict=True,
        )
        return [
            Reading(
                frequency_hz=frequency_hz,
                amplitude_v=amplitude_v,
                range_v=range_v,
                capacitance_f=capacitance_f,
                time_s=time_s or 0.0,
            )
            for frequency_hz, amplitude_v, range_v, capacitance_f, time_s in columns
        ]

    @property
    def abscissa(self) -> Abscissa:
        """What was swept: the capacitor where every line has its setting."""
        settings = [self._text(row, "capacitance_f") for _, row in self.rows]
        return Abscissa.CAPACITANCE if all(settings) else Abscissa.FREQUENCY

    def _text(self, row: list[str], name: str) -> str:
        if name not in self.names:
            return ""
        index = self.names.index(name)
        return row[index].strip() if index < len(row) else ""

    def optional(self, name: str) -> list[float | None]:
        """Read a column's numbers where there are any."""
        return [
            _number(row, self.names, name, where=self._where(line))
            if self._text(row, name)
            else None
            for line, row in self.rows
        ]

    def _where(self, line: int) -> str:
        return f"readings file {self.path}, line {line}"

    def column(self, name: str) -> list[float]:
        """Read a column's numbers, or refuse the first that is none."""
        numbers = []
        for line, row in self.rows:
            where = self._where(line)
            _refuse_longer(row, self.names, where=where)
            numbers.append(_number(row, self.names, name, where=where))
        return numbers

    def weights(self) -> NDArray[np.float64] | None:
        """Read the stated uncertainties, else the ranges where every line has one."""
        if "u_amplitude_v" in self.names:
            return np.array(self.column("u_amplitude_v"))
        if "range_v" not in self.names:
            return None
        if not all(self._text(row, "range_v") for _, row in self.rows):
            return None
        return np.array(self.column("range_v"))


def _rows(text: str) -> Iterator[tuple[int, list[str]]]:
    """Yield the lines that are neither comments nor empty, with their numbers."""
    for line, content in enumerate(text.splitlines(), start=1):
        if content.strip() and not content.lstrip().startswith("#"):
            yield line, next(csv.reader([content]))


def _amplitude_column(names: list[str], *, path: Path) -> str:
    present = [name for name in AMPLITUDES if name in names]
    swept = [name for name in ABSCISSAS if name in names]
    if not swept or len(present) != 1:
        raise InputError(
            f"readings file {path}: the header must name frequency_hz (or "
            "capacitance_f) and just one "
            f"of {' or '.join(AMPLITUDES)}, and reads {','.join(names)[:80]!r}",
            path=path,
        )
    for name in (*swept, present[0]):
        if names.count(name) > 1:
            raise InputError(
                f"readings file {path}: the header names {name} more than once",
                path=path,
            )
    return present[0]


def _refuse_longer(row: list[str], names: list[str], *, where: str) -> None:
    """Refuse a row that a decimal comma has made longer than the header."""
    if any(text.strip() for text in row[len(names) :]):
        raise InputError(
            f"{where}: {len(row)} values under a header of {len(names)}; write "
            "decimals with a point"
        )


def _number(row: list[str], names: list[str], name: str, *, where: str) -> float:
    index = names.index(name)
    text = row[index].strip() if index < len(row) else ""
    try:
        number = math.nan if "_" in text else float(text)  # 1_000 is Python's alone
    except ValueError:
        number = math.nan
    positive = name in {*ABSCISSAS, "u_amplitude_v", "range_v"}
    if not math.isfinite(number) or (positive and number <= 0.0):
        raise InputError(
            f"{where}: {name} is {shown(text)}, which is not a "
            f"{'number above zero' if positive else 'number'}"
        )
    if name == "amplitude_v" and number < 0.0:
        raise InputError(f"{where}: amplitude_v is {shown(text)}, below zero")
    most = MOST_DBM if name == "power_dbm" else MOST
    if abs(number) > most or (positive and number < LEAST):
        raise InputError(f"{where}: {name} is {shown(text)}, which nobody measures")
    return number
