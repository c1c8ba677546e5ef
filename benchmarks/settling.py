"""Is a detector that lags noticed? Planned sweeps on exact tanks, by slow displays.

Four displays lag by 0 to 50 ms, each in its own way: one pole, refreshed now and then,
late, a running mean. The tank is an admittance written out here and its Q that of the
admittance's pole, so that nothing is shared with the fit. The table gives, of the
sweeps that were not refused, how many have Q wrong by more than 3 u, how many of these
were not told, and how many were told with no need; a sound sweep gets no alarm.

    python benchmarks/settling.py [--sweeps 40] [--sound 500] [--seed 0]
"""

import argparse
import contextlib
import math
import statistics
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from halfpower.analysis import Reading, Setting
from halfpower.analysis.errors import HalfpowerError
from halfpower.sweeps import PeakPlanner
from halfpower.sweeps.plan import PeakGoal
from halfpower.sweeps.run import NullSink, settling_cautions
from halfpower.sweeps.run.on_bench import target_cautions
from halfpower.sweeps.run.resonate import resonate

LAGS_MS = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
DISPLAYS = ("pole", "refreshed", "late", "mean")
COMMAND_S = 5e-4
FAR_U = 3.0  # standard uncertainties that Q may be off by


class Tank:
    """An invented coil (loss as sqrt(f)) on a capacitor, fed through a small one."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.f0_hz = 10.0 ** rng.uniform(6.0, 7.3)
        q = 10.0 ** rng.uniform(math.log10(30.0), math.log10(400.0))
        self._l_h = 10.0 ** rng.uniform(-6.0, -4.0)
        omega = 2.0 * math.pi * self.f0_hz
        self._r_ohm = omega * self._l_h / q
        self._c_f = 1.0 / (omega**2 * self._l_h)
        self._feed_f = 0.01 * self._c_f

    def _admittances(self, s: complex, r_ohm: float) -> tuple[complex, complex]:
        feed = 1.0 / (50.0 + 1.0 / (s * self._feed_f))
        return feed, 1.0 / (r_ohm + s * self._l_h) + s * 0.99 * self._c_f

    def volts(self, frequency_hz: float) -> float:
        """Solve the tank's node for 1 V behind 50 ohm."""
        r_ohm = self._r_ohm * math.sqrt(frequency_hz / self.f0_hz)
        feed, rest = self._admittances(2j * math.pi * frequency_hz, r_ohm)
        return abs(feed / (feed + rest))

    @property
    def q(self) -> float:
        """Give the loaded Q of the pole, found by Newton's steps."""
        s = 2j * math.pi * self.f0_hz
        for _ in range(60):
            h = 1e-6 * abs(s)
            low, here, high = (
                sum(self._admittances(p, self._r_ohm)) for p in (s - h, s, s + h)
            )
            s -= here * 2.0 * h / (high - low)
        return abs(s) / (-2.0 * s.real)


@dataclass(frozen=True, slots=True, kw_only=True)
class Detector:
    """What one detector is like."""

    display: str
    lag_s: float
    noise: float
    in_proportion: bool
    wait_s: float
    reading_s: float


class LaggingBench:
    """A bench whose detector shows what stood there before."""

    def __init__(
        self, tank: Tank, detector: Detector, rng: np.random.Generator
    ) -> None:
        self._tank, self._detector, self._rng = tank, detector, rng
        self._peak_v = tank.volts(tank.f0_hz)
        self._now_s = self._pole_v = 0.0
        self._phase_s = rng.uniform(0.0, detector.lag_s)
        self._steps: list[tuple[float, float]] = [(-math.inf, 0.0)]

    @contextlib.contextmanager
    def driven(self, level_v: float | None = None) -> Iterator[None]:
        """Nothing to switch."""
        del level_v
        yield

    def read(self, setting: Setting) -> Reading:
        """Set, wait, read."""
        d = self._detector
        self._pass(COMMAND_S)
        self._steps.append((self._now_s, self._tank.volts(setting.frequency_hz)))
        self._pass(setting.settle_s + d.wait_s)
        shown_v = self._shown_v()
        self._pass(d.reading_s)
        size_v = shown_v if d.in_proportion else self._peak_v
        read_v = shown_v + d.noise * size_v * float(self._rng.standard_normal())
        return Reading(
            frequency_hz=setting.frequency_hz,
            amplitude_v=abs(read_v),
            time_s=self._now_s,
        )

    def _pass(self, seconds: float) -> None:
        final_v, lag_s = self._steps[-1][1], self._detector.lag_s
        kept = math.exp(-seconds / lag_s) if lag_s else 0.0
        self._pole_v = final_v + (self._pole_v - final_v) * kept
        self._now_s += seconds

    def _at(self, time_s: float) -> float:
        return next(v for t, v in reversed(self._steps) if t <= time_s)

    def _shown_v(self) -> float:
        lag_s, now_s = self._detector.lag_s, self._now_s
        if lag_s == 0.0:
            return self._steps[-1][1]
        if self._detector.display == "pole":
            return self._pole_v
        if self._detector.display == "late":
            return self._at(now_s - lag_s)
        if self._detector.display == "refreshed":
            return self._at(now_s - (now_s + self._phase_s) % lag_s)
        shown_v, end_s = 0.0, now_s
        for start_s, volts in reversed(self._steps):
            begun_s = max(start_s, now_s - lag_s)
            shown_v += volts * (end_s - begun_s) / lag_s
            end_s = begun_s
            if start_s <= now_s - lag_s:
                break
        return shown_v


@dataclass(frozen=True, slots=True, kw_only=True)
class Swept:
    """What came of one sweep."""

    off_by_u: float
    told: bool
    n_readings: int
    n_witnesses: int


def sweep(seed: int, *, display: str, lag_s: float) -> Swept | None:
    """Draw a tank and a detector and sweep; None where the sweep is refused."""
    rng = np.random.default_rng((seed, round(1e6 * lag_s), DISPLAYS.index(display)))
    tank = Tank(rng)
    detector = Detector(
        display=display,
        lag_s=lag_s,
        noise=10.0 ** rng.uniform(-3.0, -1.9),
        in_proportion=bool(seed % 2),
        wait_s=rng.uniform(0.0, 6.0 * lag_s) + 10.0 ** rng.uniform(-4.0, -2.5),
        reading_s=10.0 ** rng.uniform(-3.3, -1.7),
    )
    goal = PeakGoal(
        lowest_hz=tank.f0_hz / 1.5,
        highest_hz=tank.f0_hz * 1.4,
        exponent=1.0,
        target=0.005,
        generator_highest_hz=60e6,
        witness=True,
    )
    bench = LaggingBench(tank, detector, rng)
    try:
        done = resonate(bench, PeakPlanner(goal), sink=NullSink(), watch=lambda _: None)
    except HalfpowerError:
        return None
    found = done.found
    return Swept(
        off_by_u=abs(found.loaded_q - tank.q) / found.u_loaded_q,
        told=bool(settling_cautions(done.lag, readings=done.readings))
        or any("settle" in one.text for one in target_cautions(done)),
        n_readings=len(done.readings),
        n_witnesses=len(done.witnesses),
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sweeps", type=int, default=40)
    parser.add_argument("--sound", type=int, default=500)
    parser.add_argument("--seed", type=int, default=0)
    given = parser.parse_args()
    sound = [
        one
        for k in range(given.sound)
        if (one := sweep(given.seed + k, display="pole", lag_s=0.0)) is not None
    ]
    print(
        f"sound: {len(sound)} sweeps of {given.sound}, "
        f"{sum(one.told for one in sound)} false alarms, "
        f"{sum(one.off_by_u > FAR_U for one in sound)} with Q beyond 3 u, witnesses "
        f"{statistics.fmean(one.n_witnesses for one in sound):.2f} a sweep "
        f"(most {max(one.n_witnesses for one in sound)}) of "
        f"{statistics.median(one.n_readings for one in sound):.0f} readings"
    )
    print("display    lag, ms  sweeps  refused  beyond 3 u  not told  worst, u  told")
    total = Counter[str]()
    for display in DISPLAYS:
        for lag_ms in LAGS_MS:
            some = [
                sweep(given.seed + k, display=display, lag_s=1e-3 * lag_ms)
                for k in range(given.sweeps)
            ]
            done = [one for one in some if one is not None]
            beyond = [one for one in done if one.off_by_u > FAR_U]
            untold = [one.off_by_u for one in beyond if not one.told]
            told = sum(one.told for one in done)
            total.update(sweeps=len(done), beyond=len(beyond), untold=len(untold))
            print(
                f"{display:9} {lag_ms:8.2f}  {len(some):6}  {len(some) - len(done):7}  "
                f"{len(beyond):10}  {len(untold):8}  {max(untold, default=0.0):8.1f}  "
                f"{told:4}"
            )
    print(
        f"in all {total['sweeps']} sweeps, {total['beyond']} with Q beyond 3 u, "
        f"{total['untold']} of them not told; noise alone puts 3 in 1000 beyond"
    )


if __name__ == "__main__":
    main()
