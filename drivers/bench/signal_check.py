"""Look for the generator's signal at the detector, and at how well it is read."""

import math
import statistics
from collections.abc import Callable
from dataclasses import dataclass

from ...analysis.reading import Reading, Setting, ring_up_s
from ..errors import SettingError
from ..instruments import AmplitudeReader, SignalSource
from .bench import Bench, Clock
from .bench_file import BenchFile
from .check_table import CheckRow, CheckTable
from .settling import Settling, SettlingWatch

__all__ = ["STEP", "CheckPlan", "aside_of", "check_signal", "looked_over"]

LOOKS = 13  # frequencies at which a signal is looked for
N_NOISE = 20
STEP = 0.5  # the level step that a living detector must see: 6 dB
# A square-law detector makes 4 of a step of 2, a linear one 2, a noise floor 1.
ALIVE = (1.3, 6.0)
LINEAR = 0.02  # of the ratio, beside what noise does to it
ABOUT = 0.1  # of a settling time: as well as one look shows it
NOISY = 0.02  # relative; a Q of 1 % then takes hundreds of readings
PROBED_HZ = (1e4, 1e8)
ASIDE = 1.25  # times the frequency: where a step to it comes from


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckPlan:
    """How to drive the bench for its check.

    Attributes
    ----------
    level_v
        e.m.f. in V r.m.s.
    frequency_hz
        Where; None: where the most is seen.
    begun
        Called with the bench before it is driven.
    watch
        Called with every reading of the driven bench; stops the check by raising.
    """

    level_v: float
    frequency_hz: float | None = None
    begun: Callable[[Bench], None] = lambda _: None
    watch: Callable[[Reading], None] = lambda _: None


def check_signal(
    bench: Bench,
    generator: SignalSource,
    detector: AmplitudeReader,
    *,
    plan: CheckPlan,
    clock: Clock,
    table: CheckTable,
) -> None:
    """Look for the signal, see how fast it settles, and look at it."""
    settling: Settling | SettingError | None = None
    series: list[float] = []
    halved_v = each_s = frequency_hz = 0.0
    file = bench.file
    plan.begun(bench)
    with table.row("detector sees the generator") as found, bench.driven():
        frequency_hz, amplitude_v = _strongest(bench, plan)
        found.append(f"{amplitude_v:.3g} V r.m.s. at {frequency_hz:.6g} Hz")
        if not (file.generator.is_hand or file.detector.is_hand):
            settling = _settling(bench, detector, plan=plan, at_hz=frequency_hz)
        setting = _setting(frequency_hz, lacking_s=_lacking_s(file, settling))
        generator.set_emf(plan.level_v * STEP)
        halved_v = _read_v(bench, setting, plan)
        generator.set_emf(plan.level_v)
        _read_v(bench, setting, plan)  # a change of range is not what is timed
        before_s = clock()
        series = [_read_v(bench, setting, plan) for _ in range(N_NOISE)]
        each_s = (clock() - before_s) / N_NOISE
    if settling is not None:
        _tell_settling(file, settling, at_hz=frequency_hz, table=table)
    if series:
        mean_v = statistics.fmean(series)
        noise = statistics.stdev(series) / mean_v if mean_v > 0.0 else math.inf
        table.add(_step_row(mean_v, halved_v, noise=noise))
        table.add(_noise_row(mean_v, noise=noise))
        table.add(_speed_row(each_s))


def _settling(
    bench: Bench, detector: AmplitudeReader, *, plan: CheckPlan, at_hz: float
) -> Settling | SettingError:
    """Watch the bench come to a stand; what failed goes into a row of its own."""

    def read_v() -> float:
        reading = Reading(frequency_hz=at_hz, amplitude_v=detector.read().amplitude_v)
        plan.watch(reading)
        return reading.amplitude_v

    watch = SettlingWatch(
        generator=bench.generator, read_v=read_v, sleep=bench.sleep, clock=bench.clock
    )
    try:
        return watch.measure(
            at_hz,
            aside_hz=aside_of(bench.file, at_hz),
            levels_v=(plan.level_v * STEP, plan.level_v),
        )
    except SettingError as error:
        return error


def _tell_settling(
    file: BenchFile, found: Settling | SettingError, *, at_hz: float, table: CheckTable
) -> None:
    """Say how long it takes to stand; refuse a stated settle that is too short."""
    with table.row("bench comes to a stand") as said:
        if isinstance(found, SettingError):
            raise found
        said.append(
            f"{_ms(found.after_level_s)} after a step of level, "
            f"{_ms(found.after_frequency_s)} after one of frequency"
        )
    if isinstance(found, Settling):
        table.add(_settle_row(file, found, at_hz=at_hz))


def _settle_row(file: BenchFile, found: Settling, *, at_hz: float) -> CheckRow:
    what, stated_s = "settle", file.generator.settle_s + file.detector.settle_s
    said = f"{_ms(stated_s)} stated, {_ms(found.longest_s)} needed"
    # A sweep waits for the tank besides.
    if found.longest_s <= stated_s * (1.0 + ABOUT) + ring_up_s(at_hz):
        return CheckRow(what=what, state="ok", found=said)
    averages = file.detector.averages or 1
    lacking_s = found.longest_s - file.generator.settle_s
    return CheckRow(
        what=what,
        state="FAILED",
        found=f"{said}: readings would be taken too early",
        do=f'set settle = "{_ms(lacking_s / averages, up=True)}" in [detector]'
        + (f", which is for one of its {averages} averages" if averages > 1 else ""),
    )


def _ms(seconds: float, *, up: bool = False) -> str:
    """Write a time to two digits, rounded up where it is to be enough."""
    if seconds <= 0.0:
        return "0ms"
    digit = 10.0 ** (math.floor(math.log10(seconds)) - 1)
    rounded = (math.ceil if up else round)(seconds / digit) * digit
    return f"{1e3 * rounded:.6g}ms"


def _step_row(full_v: float, halved_v: float, *, noise: float) -> CheckRow:
    what, ratio = "detector follows a level step", full_v / max(halved_v, 1e-12)
    found = f"level x 2: reading x {ratio:.3g}"
    if not ALIVE[0] <= ratio <= ALIVE[1]:
        return CheckRow(
            what=what,
            state="FAILED",
            found=found,
            do="the detector does not see the generator: check the fixture's cables, "
            "raise the level, or give --frequency near the resonance",
        )
    # The lower reading is a single one. Its noise is a larger share of it: twice for a
    # voltmeter, four times where the noise is one of power.
    if abs(ratio * STEP - 1.0) > LINEAR + 3.0 * noise / STEP**2:
        return CheckRow(
            what=what,
            state="doubtful",
            found=found,
            do="the detector is not linear there (or stands on its floor): run "
            "halfpower bench linearise",
        )
    return CheckRow(what=what, state="ok", found=found)


def _noise_row(mean_v: float, *, noise: float) -> CheckRow:
    is_quiet = noise <= NOISY
    return CheckRow(
        what="noise of one reading",
        state="ok" if is_quiet else "doubtful",
        found=f"{100.0 * noise:.2g} % of {mean_v:.3g} V ({N_NOISE} readings)",
        do="" if is_quiet else "raise the level, or set averages in [detector]",
    )


def _speed_row(each_s: float) -> CheckRow:
    return CheckRow(
        what="speed",
        state="ok",
        found=f"{1e3 * each_s:.3g} ms a reading with its settling: about "
        f"{100.0 * each_s:.2g} s for a sweep of 100",
    )


def _strongest(bench: Bench, plan: CheckPlan) -> tuple[float, float]:
    """Return where the most is seen, in Hz, and how much, in V r.m.s."""
    low_hz, high_hz = looked_over(bench.file)
    wanted = (
        [plan.frequency_hz]
        if plan.frequency_hz is not None
        else [low_hz * (high_hz / low_hz) ** (k / (LOOKS - 1)) for k in range(LOOKS)]
    )
    seen: list[tuple[float, float]] = []
    for frequency_hz in wanted:
        try:
            seen_v = _read_v(bench, _setting(frequency_hz), plan)
        except SettingError:
            if len(wanted) == 1:
                raise
            continue
        seen.append((seen_v, frequency_hz))
    if not seen:
        raise SettingError(
            f"nothing could be read between {low_hz:.6g} and {high_hz:.6g} Hz; check "
            "the bench file's [limits]"
        )
    amplitude_v, frequency_hz = max(seen)
    return frequency_hz, amplitude_v


def _read_v(bench: Bench, setting: Setting, plan: CheckPlan) -> float:
    reading = bench.read(setting)
    plan.watch(reading)
    return reading.amplitude_v


def _lacking_s(file: BenchFile, settling: Settling | SettingError | None) -> float:
    """Give what the stated settle lacks of what is needed, in s."""
    if not isinstance(settling, Settling):
        return 0.0
    return settling.longest_s - file.generator.settle_s - file.detector.settle_s


def _setting(frequency_hz: float, *, lacking_s: float = 0.0) -> Setting:
    settle_s = max(ring_up_s(frequency_hz), lacking_s)
    return Setting(frequency_hz=frequency_hz, settle_s=settle_s)


def aside_of(file: BenchFile, frequency_hz: float) -> float:
    """Return where a step to this frequency comes from, within the limits, in Hz."""
    low_hz = frequency_hz / ASIDE
    is_low = low_hz < file.limits.lowest_frequency_hz
    return (
        min(frequency_hz * ASIDE, file.limits.highest_frequency_hz)
        if is_low
        else low_hz
    )


def looked_over(file: BenchFile) -> tuple[float, float]:
    """Return where a signal is looked for: the limits, or what is usual, in Hz."""
    limits = file.limits
    low_hz = max(limits.lowest_frequency_hz, PROBED_HZ[0])
    high_hz = min(limits.highest_frequency_hz, PROBED_HZ[1])
    if low_hz < high_hz:
        return low_hz, high_hz
    return limits.lowest_frequency_hz, limits.highest_frequency_hz
