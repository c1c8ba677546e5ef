"""An invented lot of chokes in a record base, with readings that fit its results.

A choke of 33 uH on 150 pF in an invented fixture: L is spread by 2 %, Q by 5 %; one
part has a shorted turn, one no resonance, one a hostile label. Every part is measured
by the same formulae that are tested elsewhere, so that it can be worked out again.
"""

import json
import math
import uuid
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from halfpower.analysis.lots import Verdict
from halfpower.analysis.quantity import Caution
from halfpower.records import RecordBase
from halfpower.records.base import (
    CheckEntry,
    Circumstances,
    LotEntry,
    PartEntry,
    StoredQuantity,
    SweepColumns,
)

BEGUN = datetime(2026, 3, 4, 5, 6, 7, tzinfo=UTC)
HOSTILE = '=cmd|"/c calc"!A1 <script>alert(1)</script> ../../x \'; DROP TABLE parts;--'
LOT_FILE = """\
[lot]
name = "{name}"
procedure = "coil"
size = {size}

[measure]
from = "1MHz"
to = "4MHz"
capacitor = "150pF +- 1%"

[limit.inductance]
nominal = "33uH"
tolerance = "10%"

[limit.unloaded_q]
lower = 60

[bin.low]
quantity = "inductance"
upper = "33uH"

[bin.high]
quantity = "inductance"
lower = "33uH"

[matching]
set_size = 2
within = {{ inductance = "1%" }}

[labels]
code = "qr"
text = "{{label}} {{inductance}} {{verdict}}"
"""


def stated(
    value: float, u: float = 0.0, distribution: str = "normal"
) -> dict[str, Any]:
    """Write a constant as a bench's is kept."""
    return {"value": value, "u": u, "distribution": distribution}


BENCH = {  # of an invented bench
    "visa": "@py",
    "generator": {
        "resource": "hand",
        "level": 1.0,
        "source_resistance": stated(50.0, 0.5),
        "frequency_reference": 1e-5,
    },
    "detector": {
        "resource": "hand",
        "input_resistance": stated(1e6, 5e4),
        "input_capacitance": stated(2e-12, 0.3e-12),
        "linearity": 0.01,
    },
}
FIXTURE = {
    "kind": "coupled-tank",
    "coupling_capacitance": stated(1e-12, 0.1e-12),
    "output_coupling_capacitance": None,
    "stray_capacitance": stated(4.2e-12, 0.2e-12),
    "stray_loss": stated(1e-3, 5e-4),
    "lead_inductance": stated(20e-9, 5e-9),
    "lead_resistance": stated(0.05, 0.02),
}
IN_FORCE = Circumstances(
    bench=json.dumps(BENCH),
    fixture=json.dumps(FIXTURE),
    instruments={"generator": "invented generator 1"},
    software={"halfpower": "0.1.0"},
)
TOTAL_F = 159.7e-12  # what lies across the coil, about
N = 41


def at(number: int) -> str:
    """When an entry was measured: one every ten seconds."""
    return (BEGUN + timedelta(seconds=10 * number)).isoformat()


def sweep_of(
    frequency_hz: float, q: float, rng: np.random.Generator, *, n: int = N
) -> SweepColumns:
    """Readings about a peak, 0.2 % noise; the first one was a glance, not used."""
    place = np.linspace(-4.0, 4.0, n - 1) + rng.uniform(-0.3, 0.3)
    x = np.concatenate(([0.7], 1.0 + place / (2.0 * q)))
    amplitude = 0.3 * x / np.sqrt(1.0 + (q * (x - 1.0 / x)) ** 2)
    return SweepColumns(
        name="peak",
        frequency_hz=frequency_hz * x,
        amplitude_v=amplitude + 0.0006 * rng.standard_normal(n),
        range_v=np.full(n, 0.5),
        time_s=0.02 * np.arange(n),
        used=np.arange(1, n),
    )


@dataclass(frozen=True)
class Invented:
    """What a lot was made of."""

    inductance_h: NDArray[np.float64]
    q: NDArray[np.float64]


def truth(size: int, *, seed: int = 7) -> Invented:
    """Draw true values; part 5 has a shorted turn."""
    rng = np.random.default_rng(seed)
    inductance = 33e-6 * (1.0 + 0.02 * rng.standard_normal(size))
    q = 100.0 * (1.0 + 0.05 * rng.standard_normal(size))
    if size > 4:
        inductance[4], q[4] = 24e-6, 22.0
    return Invented(inductance, q)


def part_entry(
    number: int,
    *,
    lot: str,
    inductance_h: float,
    q: float,
    label: str | None = None,
    station: str = "north",
    again: int | None = None,
    rng: np.random.Generator | None = None,
) -> PartEntry:
    """One choke; its L is believed as measured, its Q to 0.5 %."""
    rng = rng or np.random.default_rng(number)
    frequency = 1.0 / (2.0 * math.pi * math.sqrt(inductance_h * TOTAL_F))
    good = 29.7e-6 < inductance_h < 36.3e-6 and q > 60.0
    return PartEntry(
        uuid=str(uuid.uuid4()),
        lot=lot,
        label=f"L{number}" if label is None else label,
        at=at(number),
        station=station,
        procedure="coil",
        verdict=Verdict.ACCEPTED if good else Verdict.REJECTED,
        circumstances=IN_FORCE,
        reasons=()
        if good
        else (
            Caution(code="inductance_low", text="the inductance is below its limit"),
        ),
        quantities=(
            StoredQuantity(
                name="resonant_frequency",
                value=frequency,
                unit="Hz",
                standard_uncertainty=1e-5 * frequency,
            ),
            StoredQuantity(
                name="loaded_q", value=q, unit="1", standard_uncertainty=q / 200.0
            ),
            StoredQuantity(
                name="unloaded_q",
                value=1.02 * q,
                unit="1",
                standard_uncertainty=q / 150.0,
            ),
            StoredQuantity(
                name="inductance",
                value=inductance_h,
                unit="H",
                standard_uncertainty=0.003 * inductance_h,
            ),
        ),
        sweeps=(sweep_of(frequency, q, rng),),
        document=json.dumps({"schema": "halfpower.result/1", "procedure": "coil"}),
        again=again,
    )


def check_entry(number: int, *, lot: str, good: bool = True) -> CheckEntry:
    """A reading of the standard, a choke of 33.1 uH."""
    value = 33.1e-6 * (1.0 if good else 1.03)
    return CheckEntry(
        uuid=str(uuid.uuid4()),
        lot=lot,
        standard="standard 1",
        at=at(number),
        station="north",
        procedure="coil",
        in_control=good,
        circumstances=IN_FORCE,
        reasons=()
        if good
        else (
            Caution(
                code="beyond_limits", text="the reading lies beyond a control limit"
            ),
        ),
        quantities=(StoredQuantity(name="inductance", value=value, unit="H"),),
    )


def fill(
    base: RecordBase,
    *,
    name: str = "chokes",
    size: int = 40,
    every: int = 10,
    bad_check: bool = True,
) -> Invented:
    """Store the lot; the second check, if any, is out of control."""
    made = truth(size)
    text = LOT_FILE.format(name=name, size=max(size, 1))
    base.open_lot(LotEntry(name=name, file_text=text, begun=at(0), station="north"))
    for number in range(1, size + 1):
        if number == 3:
            base.store(unmeasured(number, lot=name))
            continue
        base.store(
            part_entry(
                number,
                lot=name,
                inductance_h=float(made.inductance_h[number - 1]),
                q=float(made.q[number - 1]),
                label=HOSTILE if number == 2 else None,
            )
        )
        if number % every == 0:
            bad = bad_check and number == 2 * every
            base.store(check_entry(number, lot=name, good=not bad))
    return made


def unmeasured(number: int, *, lot: str) -> PartEntry:
    """A part without a resonance."""
    return PartEntry(
        uuid=str(uuid.uuid4()),
        lot=lot,
        label=f"L{number}",
        at=at(number),
        station="north",
        procedure="coil",
        verdict=Verdict.UNMEASURED,
        circumstances=IN_FORCE,
        reasons=(Caution(code="no_resonance", text="no resonance was found"),),
    )
