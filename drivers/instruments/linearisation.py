"""A detector's law in a file, and every reading through it.

The readings that it is found from are taken by `halfpower.drivers.bench.lineariser`,
the law is fitted by `halfpower.analysis.detector.linearity`. A bench file names the
file, and the law then stands between the detector and whoever reads it.
"""

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import AwareDatetime, ConfigDict, Field, model_validator

from ...analysis.detector import DetectorLaw
from ...analysis.errors import InputError
from ..errors import SettingError
from ..toml_file import TomlTable, load_toml
from .roles import Amplitude, AmplitudeReader

__all__ = [
    "Linearisation",
    "LinearisedReader",
    "linearisation_text",
    "load_linearisation",
]

HEAD = """\
# A detector's law: what it indicates against the amplitude there, found by stepping the
# generator at one frequency. Columns are in V r.m.s. of the detector's own scale; slope
# is d ln(true) / d ln(indicated). Written by `halfpower bench linearise`; do not edit.
"""

# No detector shows less or more, and none has a steeper law (square is 2); the law's
# powers of ten stay within what a number holds.
STEEPEST = 20.0
_NodeVolts = Annotated[float, Field(ge=1e-9, le=1e4)]


class Linearisation(TomlTable):
    """The file's content.

    Attributes
    ----------
    made
        When.
    frequency_hz
        Where the generator stood.
    generator, detector
        Who the instruments said they were.
    left_over
        Limits of the relative error that a ratio of two readings keeps: the law's own
        and the generator's.
    indicated_v, true_v, slope
        The law's nodes (see `halfpower.analysis.detector.DetectorLaw`).
    """

    model_config = ConfigDict(populate_by_name=True)

    schema_name: Literal["halfpower.linearisation/1"] = Field(alias="schema")
    made: AwareDatetime
    frequency_hz: float = Field(gt=0.0)
    generator: str
    detector: str
    left_over: float = Field(ge=0.0, lt=0.5)
    indicated_v: tuple[_NodeVolts, ...]
    true_v: tuple[_NodeVolts, ...]
    slope: tuple[Annotated[float, Field(ge=0.0, le=STEEPEST)], ...]

    @model_validator(mode="after")
    def _is_a_law(self) -> Self:
        try:
            _ = self.law
        except InputError as error:
            raise ValueError(str(error)) from error
        return self

    @property
    def law(self) -> DetectorLaw:
        """The law."""
        return DetectorLaw(
            indicated_v=self.indicated_v, true_v=self.true_v, slope=self.slope
        )

    def is_better_than(self, linearity: float) -> bool:
        """Tell whether readings go through it, where the bench file states this.

        They do where it leaves less, and where it has found more than is stated.
        """
        return self.left_over < linearity or self._refutes(linearity)

    def _refutes(self, linearity: float) -> bool:
        return self.law.uncorrected > linearity + self.left_over

    def compared(self, linearity: float) -> str:
        """Say which is better, it or the ``linearity`` that a bench file states."""
        stated, left = f"{100.0 * linearity:.2g} %", f"{100.0 * self.left_over:.2g} %"
        if self._refutes(linearity):
            return (
                f"the linearisation found ratios wrong by up to "
                f"{100.0 * self.law.uncorrected:.2g} %, where [detector] states a "
                f"linearity of {stated}: readings go through it, and {left} is left"
            )
        if self.left_over < linearity:
            return (
                f"the linearisation leaves {left}, which is better than the {stated} "
                "of linearity that [detector] states: readings go through it"
            )
        return (
            f"the linearity of {stated} that [detector] states is better than the "
            f"{left} that the linearisation leaves: readings are taken as they are"
        )


def load_linearisation(path: Path) -> Linearisation:
    """Read and check a linearisation file.

    Raises
    ------
    InputError
        Missing, not TOML, or wrong; every mistake with its line.
    """
    return load_toml(path, record=Linearisation, what="linearisation")


def linearisation_text(
    law: DetectorLaw,
    *,
    made: datetime,
    frequency_hz: float,
    identities: dict[str, str],
    left_over: float,
) -> str:
    """Give the text of a linearisation file; `load_linearisation` reads it."""
    columns = "".join(
        f"{name} = {_array(values)}\n"
        for name, values in (
            ("indicated_v", law.indicated_v),
            ("true_v", law.true_v),
            ("slope", law.slope),
        )
    )
    return (
        f'{HEAD}schema = "halfpower.linearisation/1"\n'
        f"made = {made:%Y-%m-%dT%H:%M:%SZ}\n"
        f"frequency_hz = {float(frequency_hz)!r}\n"
        f"generator = {_quoted(identities['generator'])}\n"
        f"detector = {_quoted(identities['detector'])}\n"
        f"left_over = {left_over:.6f}  # limits of a ratio's relative error\n"
        f"{columns}"
    )


def _array(values: Sequence[float]) -> str:
    lines = "".join(f"  {value!r},\n" for value in values)
    return f"[\n{lines}]"


def _quoted(text: str) -> str:
    """Write a TOML basic string."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return (
        '"'
        + "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in escaped)
        + '"'
    )


class LinearisedReader:
    """A detector whose readings go through its law.

    Parameters
    ----------
    reader
        The detector, started.
    law
        Its law, with the identity of the detector that it was found on.

    Raises
    ------
    InputError
        The law was found on another detector.
    """

    def __init__(self, reader: AmplitudeReader, *, law: Linearisation) -> None:
        if reader.identity != law.detector:
            raise InputError(
                f"the linearisation was made with the detector {law.detector!r}, and "
                f"connected is {reader.identity!r}; run `halfpower bench linearise` "
                "with it"
            )
        self._reader = reader
        self._law = law.law

    @property
    def identity(self) -> str:
        """Who the detector says it is."""
        return self._reader.identity

    def introduce(self) -> None:
        """Ask the detector who it is."""
        self._reader.introduce()

    def start(self) -> None:
        """Start the detector."""
        self._reader.start()

    def tune(self, frequency_hz: float) -> None:
        """Tune the detector."""
        self._reader.tune(frequency_hz)

    def read(self) -> Amplitude:
        """Read one amplitude and correct it.

        Raises
        ------
        SettingError
            It is more than a decibel above what the law was found for.
        """
        indicated = self._reader.read()
        if indicated.amplitude_v > self._law.highest_v:
            raise SettingError(
                f"the detector indicates {indicated.amplitude_v:.4g} V and is "
                f"linearised up to {self._law.highest_v:.4g} V: lower the generator's "
                "level, or linearise it nearer to the peak",
                indicated_v=indicated.amplitude_v,
            )
        range_v = indicated.range_v
        return Amplitude(
            amplitude_v=self._law.true_from(indicated.amplitude_v),
            range_v=None if range_v is None else self._law.true_from(range_v),
            reference_v=indicated.reference_v,
        )

    def disturbed(self) -> list[str]:
        """Tell what happened to the detector."""
        return self._reader.disturbed()

    def restore(self) -> None:
        """Bring the detector back to its settings."""
        self._reader.restore()

    def check(self) -> None:
        """See that the detector refused nothing."""
        self._reader.check()

    def close(self) -> None:
        """Close the detector."""
        self._reader.close()
