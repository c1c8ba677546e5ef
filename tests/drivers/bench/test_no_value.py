"""No value from the detector: the generator's level tells too much from too little."""

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest

from halfpower.analysis import Setting
from halfpower.drivers.errors import NoValueError, OverloadError, SettingError

SETTING = Setting(frequency_hz=6.7e6, settle_s=1e-3)


@pytest.fixture
def rig(fake_bench: Callable[[], SimpleNamespace]) -> SimpleNamespace:
    """A bench whose scope sees ``gain`` times the generator's level, or nothing.

    It answers "not a number" both to a clipped trace and to one below a tenth of the
    screen (common practice, no published source).
    """
    made = fake_bench()
    made.gain = 1.0
    own = made.scope.own

    def answer(command: str) -> Any:
        made.scope.signal_v = made.gain * made.source.level
        full_v = 8.0 * made.scope.scale / 2.0 / 2.0**0.5
        if command.startswith("MEASure") and made.scope.signal_v < 0.1 * full_v:
            return "9.91E+37"
        return own(command)

    made.scope.own = answer
    return made


@pytest.mark.parametrize("gain", [1e-9, 1e-4])
def test_too_little_on_the_finest_range_is_nothing(
    rig: SimpleNamespace, gain: float
) -> None:
    """0.5 V x 1e-4 is 50 uV, and its finest screen holds 5.7 mV."""
    rig.gain = gain
    with rig.bench as bench, bench.driven():
        reading = bench.read(SETTING)
        assert rig.source.level == pytest.approx(0.5)  # 1 V of e.m.f. into 50 ohm
    assert reading.amplitude_v == 0.0
    assert reading.range_v == pytest.approx(8.0 * 0.002 / 2.0 / 2.0**0.5)


@pytest.mark.parametrize("gain", [60.0, 400.0])
def test_too_much_on_the_coarsest_range_is_an_overload(
    rig: SimpleNamespace, gain: float
) -> None:
    """30 V and 200 V, where its coarsest screen holds 28 V; at a thirtieth it reads."""
    rig.gain = gain
    with rig.bench as bench, bench.driven():
        with pytest.raises(OverloadError, match="overloaded"):
            bench.read(SETTING)
        assert rig.source.level == pytest.approx(0.5)


def test_what_came_late_is_read_again_at_the_full_level(rig: SimpleNamespace) -> None:
    """A trigger that took longer than the second look: neither too much nor nothing."""
    own = rig.scope.own
    late: list[str] = []

    def answer(command: str) -> Any:
        if command.startswith("MEASure") and rig.source.level == 0.5 and late:
            return late.pop()
        return own(command)

    rig.scope.own = answer
    with rig.bench as bench, bench.driven():
        late[:] = ["9.91E+37"] * 8  # seven ranges from 2 mV up, and the second look
        assert bench.read(SETTING).amplitude_v == pytest.approx(0.5)
    assert not late
    levels = [one for one in rig.wires[0].sent if "AMPLitude " in one]
    assert [float(one.split()[1]) for one in levels] == pytest.approx(
        [0.5, 0.5 / 30.0, 0.5], rel=1e-4
    )


def test_a_peak_is_read_after_nothing(rig: SimpleNamespace) -> None:
    """Far from resonance, on it, and far again."""
    with rig.bench as bench, bench.driven():
        seen = []
        for gain in (1e-6, 3.0, 1e-6):
            rig.gain = gain
            seen.append(bench.read(SETTING).amplitude_v)
    assert seen == pytest.approx([0.0, 1.5, 0.0])


def test_a_generator_without_a_lower_level_leaves_it_open(rig: SimpleNamespace) -> None:
    """Then neither is said."""
    rig.gain = 1e-9
    rig.source.level_step = 0.5  # nothing between nought and its level
    with rig.bench as bench, bench.driven():
        with pytest.raises(NoValueError, match="too much or too little"):
            bench.read(SETTING)
        assert rig.source.level == pytest.approx(0.5)


def test_a_detector_without_ranges_is_not_believed_to_read_nothing(
    rig: SimpleNamespace,
) -> None:
    """It may be switched to something else: its owner can say what it means."""
    detector = rig.bench._detector  # noqa: SLF001 - its dialect, without a range
    detector._dialect = detector._dialect.model_copy(update={"range": None})  # noqa: SLF001
    rig.gain = 1e-9
    with (
        rig.bench as bench,
        bench.driven(),
        pytest.raises(SettingError, match=r"nothing = \[9\.9e37, 9\.91e37\]"),
    ):
        bench.read(SETTING)
