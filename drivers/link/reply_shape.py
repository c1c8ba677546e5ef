r"""Tell an answer that was cut short by its shape, without knowing its value. No I/O.

Half an answer that happens to end in the terminator is a number as good as any:
``+1.23456789E-02`` cut to ``+1.2345`` is wrong by two decades. What gives it away is
its shape: cutting from the right takes digits from the exponent, then the whole
exponent, then decimals, then the point, then digits of an integer. So an answer whose
shape is less than that of the last one believed is asked for again.

An instrument that varies its digits (trailing zeros dropped, another exponent) gives
such answers in earnest; asked again, it gives the same shape again, or the full one.
A shorter shape is believed when it has come three times running for one question. A
line that cuts one answer in a hundred, always at the same place, gets there once in a
million questions; an instrument that drops trailing zeros asks for one question in ten
once more. The first answer to a question has none before it: it is believed if it ends
in an exponent of two digits (the usual NR3 of IEEE 488.2, 8.7.4, in full), else when it
has come twice.

What a cut cannot shorten it cannot spoil: words and single digits have no shape, and
whoever asks knows which of them there are.
"""

import re
from collections import Counter
from dataclasses import dataclass

__all__ = ["MOST_ANSWERS", "Belief", "Shape", "shape_of"]

TIMES = 3  # a shorter shape is believed the third time
TIMES_AT_FIRST = 2
MOST_ANSWERS = 6
FULL_EXPONENT = 2  # digits
SPECIAL_FROM = 9.899e37
ALIKE = str.maketrans("123456789-", "000000000+")  # answers alike but for their value

_NUMBER = re.compile(
    r"[^\d+.-]*[+-]?(?P<whole>\d*)(?P<point>\.)?(?P<decimals>\d*)"
    r"(?:[eE][+-]?(?P<exponent>\d+))?(?P<tail>.*)",
    re.DOTALL,
)
_SPECIAL = re.compile(r"(?P<number>[+-]?\d+\.?\d*[eE]\+?37)\D*")


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """How a number is written.

    Attributes
    ----------
    whole
        Digits of an integer; 0 where a point or an exponent follows, since there a
        value below ten has fewer of them in earnest.
    point, decimals, exponent
        Whether there is a point, and the digits behind it and in the exponent.
    tail
        Characters behind the number (a unit).
    """

    whole: int
    point: bool
    decimals: int
    exponent: int
    tail: int

    def is_less_than(self, other: "Shape") -> bool:
        """Tell whether this could be the other one, cut short."""
        # 987 after 1001 may be one cut short, 9.87 after 10.01 may not: its decimals
        # are all there
        is_cut_integer = 0 < self.whole < other.whole
        return (
            is_cut_integer
            or self.point < other.point
            or self.decimals < other.decimals
            or self.exponent < other.exponent
            or self.tail < other.tail
        )


def shape_of(reply: str) -> Shape | None:
    """Give the shape of a numeric answer, or None where it holds no number."""
    match = _NUMBER.fullmatch(reply.strip())
    if match is None or not (match["whole"] or match["decimals"]):
        return None
    exponent = len(match["exponent"] or "")
    point = match["point"] is not None
    return Shape(
        whole=0 if point or exponent else len(match["whole"]),
        point=point,
        decimals=len(match["decimals"]),
        exponent=exponent,
        tail=len(match["tail"]),
    )


def _is_special(reply: str) -> bool:
    """Tell SCPI-99's infinities and its "not a number" (volume 1, 7.2.1.4 and 5)."""
    match = _SPECIAL.fullmatch(reply.strip())
    return match is not None and abs(float(match["number"])) >= SPECIAL_FROM


class Belief:
    """The shapes of one question's answers; `begin` before it is asked.

    A cut answer is not the last one believed, so the shape that counts follows an
    instrument that changes its own.
    """

    __slots__ = ("_believed", "_came", "_template")

    def __init__(self) -> None:
        self._believed: Shape | None = None
        self._template = ""
        self._came: Counter[Shape] = Counter()

    @property
    def is_first(self) -> bool:
        """Whether no answer has been believed yet."""
        return self._believed is None

    def begin(self) -> None:
        """Forget the answers in doubt of the time before."""
        if self._came:
            self._came.clear()

    def believes(self, reply: str) -> bool:
        """Tell whether an answer can be believed, or is to be asked for again."""
        template = reply.translate(ALIKE)
        if template == self._template:
            return True
        shape = shape_of(reply)
        if shape is None or _is_special(reply):
            return True
        if not self._is_full(shape):
            return False
        self._believed, self._template = shape, template
        return True

    def _is_full(self, shape: Shape) -> bool:
        self._came[shape] += 1
        if self._believed is None:
            is_nr3 = shape.exponent >= FULL_EXPONENT
            return is_nr3 or self._came[shape] >= TIMES_AT_FIRST
        return not shape.is_less_than(self._believed) or self._came[shape] >= TIMES
