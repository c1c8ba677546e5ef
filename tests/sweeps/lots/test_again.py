"""A rework holds new values to the limits, and forgets no doubt of the readings."""

import numpy as np

from halfpower.analysis.lots import Verdict
from halfpower.analysis.quantity import Caution
from halfpower.analysis.uncertainty import DeducedRows
from halfpower.sweeps.lots import decided_again, parse_lot_text

LOT = parse_lot_text(
    """\
[lot]
name = "invented"
procedure = "coil"
size = 3
[measure]
from = "1MHz"
to = "2MHz"
[limit.inductance]
lower = "30uH"
upper = "36uH"
""",
    "invented.toml",
)
EARLY = Caution(code="not_settled", text="every reading still held 7 %")


def test_what_was_read_too_early_stays_undecided() -> None:
    """New constants settle no instrument: not accepted, rejected as it was."""
    found = DeducedRows(
        names=("inductance",),
        values=np.array([[33e-6], [33e-6], [40e-6]]),
        u=np.full((3, 1), 0.1e-6),
        refused=np.zeros(3, dtype=np.bool_),
    )
    verdicts, reasons = decided_again(
        found,
        sequences=np.array([4, 5, 6]),
        lot=LOT,
        unsettled={5: EARLY, 6: EARLY},
    )
    assert verdicts == [Verdict.ACCEPTED, Verdict.UNDECIDED, Verdict.REJECTED]
    assert reasons[5] == (EARLY,)
    assert [one.code for one in reasons[6]] == ["inductance_above", "not_settled"]
    assert 4 not in reasons
