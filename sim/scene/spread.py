"""Values that are known only to a tolerance, and the drawing of the true ones."""

import zlib
from typing import Annotated

import numpy as np
from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    model_validator,
)

__all__ = [
    "NONE",
    "NotNegative",
    "Positive",
    "Quantity",
    "Spread",
    "Table",
    "exactly",
    "stream",
]

# In any unit: the circuit's arithmetic stays within what a number holds.
LEAST, MOST = 1e-24, 1e18


class Table(BaseModel):
    """A table of a scene file: closed, checked, frozen."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, strict=True, allow_inf_nan=False
    )


class Spread(Table):
    """A nominal value and how far the true one may be from it.

    In a file: a plain number, or a table such as ``{ nominal = 150e-12,
    half_width_relative = 0.01 }``.

    Attributes
    ----------
    nominal
        What the user knows.
    half_width, half_width_relative
        Of a rectangular distribution about it, absolute or relative.
    sd, sd_relative
        Standard deviation of a normal distribution, absolute or relative.
    """

    nominal: float
    half_width: float | None = None
    half_width_relative: float | None = None
    sd: float | None = None
    sd_relative: float | None = None

    @model_validator(mode="after")
    def _check(self) -> "Spread":
        given = [v for v in self._widths() if v is not None]
        if len(given) > 1:
            raise ValueError(
                "give one of half_width, half_width_relative, sd and sd_relative"
            )
        if given and given[0] < 0.0:
            raise ValueError("a spread cannot be negative")
        for value in (self.nominal, *given):
            if value and not LEAST <= abs(value) <= MOST:
                raise ValueError(f"{value:g} is beyond anything on a bench")
        return self

    def _widths(self) -> tuple[float | None, ...]:
        return (self.half_width, self.half_width_relative, self.sd, self.sd_relative)

    @property
    def is_exact(self) -> bool:
        """Tell whether there is nothing to draw."""
        return not any(self._widths())

    @property
    def standard_uncertainty(self) -> float:
        """Standard deviation of what is drawn, absolute."""
        if self.half_width is not None or self.half_width_relative is not None:
            return self._half_width() / float(np.sqrt(3.0))
        return self._sd()

    def _half_width(self) -> float:
        if self.half_width is not None:
            return self.half_width
        return abs(self.nominal) * (self.half_width_relative or 0.0)

    def _sd(self) -> float:
        if self.sd is not None:
            return self.sd
        return abs(self.nominal) * (self.sd_relative or 0.0)

    def draw(self, rng: np.random.Generator) -> float:
        """Draw a true value."""
        if self.is_exact:
            return self.nominal
        half_width = self._half_width()
        if half_width:
            return self.nominal + half_width * float(rng.uniform(-1.0, 1.0))
        return self.nominal + self._sd() * float(rng.standard_normal())


def _as_spread(value: object) -> object:
    """Take a plain number for an exactly known value."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return {"nominal": float(value)}
    if not isinstance(value, dict | Spread):
        raise ValueError(  # noqa: TRY004 # pydantic reports ValueErrors, with the key
            "must be a number, or a table with nominal and a spread"
        )
    return value


def _is_positive(value: Spread) -> Spread:
    if not value.nominal > 0.0:
        raise ValueError("must be greater than 0")
    return value


def _is_not_negative(value: Spread) -> Spread:
    if not value.nominal >= 0.0:
        raise ValueError("must be 0 or greater")
    return value


Quantity = Annotated[Spread, BeforeValidator(_as_spread)]
Positive = Annotated[Spread, BeforeValidator(_as_spread), AfterValidator(_is_positive)]
NotNegative = Annotated[
    Spread, BeforeValidator(_as_spread), AfterValidator(_is_not_negative)
]
NONE = Spread(nominal=0.0)


def exactly(value: float) -> Spread:
    """Give a value without spread."""
    return Spread(nominal=value)


def stream(seed: int, name: str) -> np.random.Generator:
    """Give the random stream that belongs to a seed and a name.

    Notes
    -----
    Every value has a stream of its own, so that adding one to a scene leaves the
    others where they were.
    """
    key = zlib.crc32(name.encode())
    return np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(key,)))
