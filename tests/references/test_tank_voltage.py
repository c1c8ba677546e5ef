"""The guard's voltages against nodal analysis written out here, no line shared.

Generator E behind Rs; coupling Cc to the tank's top; there the known capacitor, the
stray and the coil's own capacitance, and the coil (Q = 400) behind its leads; the probe
there, too, or behind an output coupling. Kirchhoff's node equations, solved by numpy.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from halfpower.analysis import Reading, Stated
from halfpower.analysis.tank import Tank
from halfpower.sweeps.run import TankGuard

Q = 400.0
EMF_V, UNLIMITED_V = 2.0, 1e12
WITHIN = 0.02  # of the exact voltage, which the guard may not miss by more
AGREES = 1e-3  # the search for the highest

Column = NDArray[np.float64]


@dataclass(frozen=True)
class Bench:
    """One fixture as a bench file may state it; SI units."""

    coupling: float
    source: float
    probe_ohm: float
    probe_f: float
    output: float | None
    capacitor: float
    lead_h: float = 0.0
    lead_ohm: float = 0.0

    def voltages(
        self,
        frequency: float,
        coil_h: Column,
        series_f: float | None = None,
        own_f: float = 0.0,
    ) -> Column:
        """Top of the tank, detector, and the place between coil and series part, V."""
        w = 2.0 * math.pi * frequency
        series = 0.0 if series_f is None else 1.0 / (1j * w * series_f)
        lead = self.lead_ohm + 1j * w * self.lead_h
        coil = w * coil_h / Q + 1j * w * coil_h
        branch = lead + coil / (1.0 + 1j * w * own_f * coil) + series
        probe = 1.0 / self.probe_ohm + 1j * w * self.probe_f
        feed, source = 1j * w * self.coupling, 1.0 / self.source
        # Nodes: behind the source, the tank's top, and the detector where it is apart.
        top = 1j * w * self.capacitor + 1.0 / branch
        y = np.zeros((*branch.shape, 3, 3), dtype=complex)
        y[..., 0, 0] = source + feed
        y[..., 0, 1] = y[..., 1, 0] = -feed
        y[..., 1, 1] = top + feed
        y[..., 2, 2] = 1.0
        if self.output is None:
            y[..., 1, 1] += probe
        else:
            through = 1j * w * self.output
            y[..., 1, 1] += through
            y[..., 1, 2] = y[..., 2, 1] = -through
            y[..., 2, 2] = through + probe
        drive = np.zeros((*branch.shape, 3, 1), dtype=complex)
        drive[..., 0, 0] = EMF_V * source
        solved = np.linalg.solve(y, drive)[..., 0]
        at_top = solved[..., 1]
        read = at_top if self.output is None else solved[..., 2]
        return np.abs(np.stack([at_top, read, at_top * series / branch]))

    def highest(self, frequency: float) -> float:
        """Give the highest voltage at a frequency over all inductances."""
        w = 2.0 * math.pi * frequency
        # What a coil must tune lies between everything and the capacitor alone. A grid
        # of the reactance over that and beyond, 1/1000 of an e-fold a step where a
        # resonance is 1/400 wide and more, then a closer one about the highest.
        most = self.capacitor + self.coupling + self.probe_f + (self.output or 0.0)
        low, high = 0.3 / (w * w * most), 30.0 / (w * w * self.capacitor)
        loop_h = np.geomspace(low, high, int(1000 * math.log(high / low)))
        seen = self._over(frequency, loop_h)
        best = loop_h[min(int(np.argmax(seen)), loop_h.size - 1)]
        closer = self._over(frequency, best * np.geomspace(0.997, 1.003, 301))
        return float(max(seen.max(), closer.max()))

    def _over(self, frequency: float, loop_h: Column) -> Column:
        """Give the tank's voltage over the loop's inductances, and with no coil."""
        coil_h = np.append(np.maximum(loop_h - self.lead_h, 0.0), 0.0)
        # Without any inductance there would be nothing to divide by.
        coil_h = coil_h[coil_h + self.lead_h > 0.0]
        top: Column = self.voltages(frequency, coil_h)[0]
        return top

    def guard(
        self, without_hz: float | None = None, own_f: float | None = None
    ) -> TankGuard:
        """Put its guard there; of the capacitor some is stray, some the coil's own."""

        def exact(value: float) -> Stated:
            return Stated(value=value)

        nothing = exact(0.0)
        tank = Tank(
            kind="coupled-tank" if self.output is None else "coupled-both-sides",
            capacitor_f=exact((0.9 if own_f is None else 0.94) * self.capacitor),
            capacitor_loss=nothing,
            self_capacitance_f=exact(0.04 * self.capacitor if own_f is None else own_f),
            stray_f=exact(0.06 * self.capacitor),
            stray_loss=nothing,
            lead_h=exact(self.lead_h),
            lead_ohm=exact(self.lead_ohm),
            coupling_f=exact(self.coupling),
            source_ohm=exact(self.source),
            probe_ohm=exact(self.probe_ohm),
            probe_f=exact(self.probe_f),
            output_coupling_f=None if self.output is None else exact(self.output),
            frequency_reference=nothing,
            linearity=nothing,
            loss_exponent=nothing,
        )
        return TankGuard(tank, emf_v=EMF_V, limit_v=UNLIMITED_V, without_hz=without_hz)


def between(low: float, high: float) -> st.SearchStrategy[float]:
    """Draw evenly on a logarithmic scale, the ends among it."""
    return st.floats(math.log(low), math.log(high)).map(math.exp)


BENCHES = st.builds(
    Bench,
    coupling=between(0.5e-12, 100e-12),
    source=between(1.0, 1e3),
    probe_ohm=between(1.0, 1e7),
    probe_f=st.one_of(st.just(0.0), between(0.1e-12, 50e-12)),
    output=st.one_of(st.none(), between(0.5e-12, 100e-12)),
    capacitor=between(2e-12, 2e-9),
    lead_h=st.one_of(st.just(0.0), between(1e-9, 200e-9)),
    lead_ohm=st.one_of(st.just(0.0), between(1e-3, 10.0)),
)
FREQUENCIES = between(1e5, 3e8)


@settings(max_examples=100)
@given(bench=BENCHES, frequency=FREQUENCIES)
def test_the_prediction_is_the_highest_of_any_coil(
    bench: Bench, frequency: float
) -> None:
    """Never 2 % too low, nor too high: both fixtures, leads, all that a file allows."""
    predicted = bench.guard().predicted_v(frequency)
    assert predicted == pytest.approx(bench.highest(frequency), rel=WITHIN)


@settings(max_examples=100)
@given(bench=BENCHES, frequency=FREQUENCIES, coil=between(1e-9, 1e-2))
def test_the_watch_sees_the_tank_behind_any_output_coupling(
    bench: Bench, frequency: float, coil: float
) -> None:
    """From the detector's voltage to the top's, on and off resonance."""
    top, read, _ = bench.voltages(frequency, np.array(coil))
    guard = bench.guard()
    guard.watch(Reading(frequency_hz=frequency, amplitude_v=read))
    assert guard.highest_v == pytest.approx(top, rel=AGREES)


GRID = [
    (coupling, source, probe_ohm, probe_f, output)
    for coupling in (0.5e-12, 5e-12, 100e-12)
    for source in (1.0, 50.0, 1e3)
    for probe_ohm in (1.0, 50.0, 1e6, 1e7)
    for probe_f in (0.0, 50e-12)
    for output in (None, 0.5e-12, 100e-12)
]


def test_at_the_corners_of_what_a_bench_file_allows() -> None:
    """The grid of the extremes, 100 kHz to 300 MHz, against the same circuit."""
    off = []
    for row in GRID:
        bench = Bench(*row, capacitor=50e-12)
        for frequency in (1e5, 5e6, 3e8):
            ratio = bench.guard().predicted_v(frequency) / bench.highest(frequency)
            off.append(abs(ratio - 1.0))
    assert max(off) < WITHIN


@settings(max_examples=30)
@given(bench=BENCHES, low=between(1e5, 1e8), width=between(1.01, 100.0))
def test_the_worst_of_a_span_is_found(bench: Bench, low: float, width: float) -> None:
    """It need not be at the upper end: a dense grid over the span finds no more."""
    guard = bench.guard()
    high = min(width * low, 3e8)
    worst, at = guard.worst(low, high)
    assert low <= at <= high
    dense = max(guard.predicted_v(float(hz)) for hz in np.geomspace(low, high, 801))
    assert worst >= (1.0 - AGREES) * dense
    assert worst == guard.predicted_v(at)


def test_the_highest_voltage_may_lie_below_the_top_of_the_span() -> None:
    """100 pF behind 50 ohm: 200 MHz is past the source's pole, 3 MHz is not.

    Derived: wCcRs is 6.3 there, so that E wCc/|1 + jwCcRs| stands still and wT/Q goes
    on; the source's share (wCc)^2 Rs rises with the square before that.
    """
    bench = Bench(100e-12, 50.0, 1e6, 10e-12, None, capacitor=50e-12)
    worst, at = bench.guard().worst(1e5, 2e8)
    assert at < 2e7
    assert worst > 5.0 * bench.highest(2e8)


@settings(max_examples=100)
@given(
    bench=BENCHES.map(lambda one: replace(one, lead_h=0.0, lead_ohm=0.0)),
    coil=between(1e-6, 1e-3),
    own=st.floats(0.0, 0.2),
    up=st.floats(1.02, 4.0),
)
def test_a_part_in_series_with_the_coil_may_stand_higher_than_the_tank(
    bench: Bench, coil: float, own: float, up: float
) -> None:
    """Two reactances divide: a Cx below the tank's T has T/Cx of the tank's voltage.

    The coil has its own capacitance (across the tank without Cx, not with it); loosely
    coupled. Cx is what resonates at `up` times the frequency without it; of a coil that
    is within a third of its own resonance there (s r > 0.45) nothing is said.
    """
    across = bench.capacitor
    loose = replace(
        bench, coupling=0.02 * across, source=50.0, probe_ohm=1e7, probe_f=0.0,
        output=None, capacitor=across,
    )  # fmt: skip
    total, own_f = 1.02 * across, own * across
    without_hz = 1.0 / (2.0 * math.pi * math.sqrt(coil * (total + own_f)))
    w = 2.0 * math.pi * up * without_hz
    assume(w * w * coil * own_f < 0.45)
    reactance = w * coil / (1.0 - w * w * coil * own_f) - 1.0 / (w * total)
    series_f = 1.0 / (w * reactance)
    top, read, cold = loose.voltages(
        up * without_hz, np.array(coil), series_f, own_f=own_f
    )
    guard = loose.guard(without_hz, own_f=own_f)
    guard.watch(Reading(frequency_hz=up * without_hz, amplitude_v=float(read)))
    assert guard.highest_v == pytest.approx(max(top, cold), rel=WITHIN)
    assert guard.predicted_v(up * without_hz) > (1.0 - WITHIN) * max(top, cold)
