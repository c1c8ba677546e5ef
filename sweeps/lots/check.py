"""Is the bench still the bench it was? The check standard of a lot."""

from collections.abc import Mapping, Sequence

from ...analysis.errors import AnalysisError
from ...analysis.lots import (
    SIGMAS,
    CheckChart,
    check_chart,
    check_reading,
    pooled_check_chart,
)
from ...analysis.quantity import Caution, Quantity
from ...analysis.reading import Reading
from ...analysis.result import Result
from .models import CheckTable
from .outcome import CheckOutcome, shown

__all__ = ["CheckBook"]

LEAST = 3  # readings that make a chart where no deviation is stated
FALSE_ALARM = 0.0027  # what lies beyond three standard deviations


class CheckBook:
    """Judges the check standard's readings.

    Parameters
    ----------
    table
        What is known of the standard.
    history
        Its good readings of other lots, the oldest first, in the quantity's unit.
    before
        Its readings in this lot so far, good or not.
    """

    def __init__(
        self,
        table: CheckTable,
        *,
        history: Sequence[float] = (),
        before: Sequence[float] = (),
    ) -> None:
        self.table = table
        self._history, self._before = list(history), list(before)

    def judged(
        self,
        result: Result | None,
        *,
        begun: str,
        readings: Mapping[str, tuple[Reading, ...]],
        failure: Caution | None = None,
    ) -> CheckOutcome:
        """Judge a new reading; one that came to nothing is out of control."""
        value = None if result is None else self._watched(result)
        good, reasons = False, tuple[Caution, ...]()
        if value is None:
            none = Caution(
                code="check_not_measured",
                text=f"the check standard has no {self.table.quantity}",
            )
            reasons = (failure or none,)
        else:
            good, reasons = self._judge(value)
            self._before.append(value.value)
        return CheckOutcome(
            standard=self.table.standard,
            begun=begun,
            in_control=good,
            value=value,
            reasons=reasons,
            result=result,
            readings=readings,
        )

    def _watched(self, result: Result) -> Quantity | None:
        named = (q for q in result.quantities if q.name == self.table.quantity)
        return next(named, None)

    def _judge(self, value: Quantity) -> tuple[bool, tuple[Caution, ...]]:
        made_of, since = self._split()
        chart = self._chart(made_of)
        if chart is None:
            text = (
                "too little is known of the check standard yet, so that this reading "
                "is taken for good"
            )
            return True, (Caution(code="check_without_history", text=text),)
        verdict = check_reading(
            value.value, chart=chart, before=since, rules=self.table.rules
        )
        return verdict.in_control, tuple(
            Caution(
                code=f"check_{rule.value}",
                text=f"{shown(value)} of {self.table.standard}: {rule.text}",
            )
            for rule in verdict.broken
        )

    def _split(self) -> tuple[list[float], list[float]]:
        """Give the readings that make the chart, and those since.

        Where other lots have too few, this lot's first ones help.
        """
        if self.table.mean is not None:
            return [], self._before
        least = LEAST if self.table.sd is None else 1
        lacking = max(least - len(self._history), 0)
        return self._history + self._before[:lacking], self._before[lacking:]

    def _chart(self, made_of: list[float]) -> CheckChart | None:
        mean, sd = self.table.mean, self.table.sd
        if mean is not None and sd is not None:
            return _known_chart(mean, sd=sd)
        if sd is not None:
            return pooled_check_chart(made_of, sd=sd) if made_of else None
        if len(made_of) < LEAST:
            return None
        try:
            return check_chart(made_of, allow_for_few=True)
        except AnalysisError:  # they do not differ: their digits hide the scatter
            return None


def _known_chart(mean: float, *, sd: float) -> CheckChart:
    """Make a chart of a mean and a deviation that are both known."""
    return CheckChart(
        centre=mean,
        sd=sd,
        lower=mean - SIGMAS * sd,
        upper=mean + SIGMAS * sd,
        n=1,
        false_alarm=FALSE_ALARM,
        cautions=(),
    )
