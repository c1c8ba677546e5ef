"""The tank guard predicts and watches the voltage that Q makes."""

import math
import re

import pytest

from halfpower.analysis import Reading, Stated
from halfpower.analysis.tank import Tank
from halfpower.sweeps.errors import GuardError
from halfpower.sweeps.run import TankGuard
from halfpower.sweeps.run.guard import PREDICTED_Q

LIMIT_V = 30.0  # IEC 61010-1, 6.3.1, normal condition: 30 V r.m.s.


def exact(value: float) -> Stated:
    """State a value without doubt."""
    return Stated(value=value)


def tank(
    *, output_f: float | None = None, probe_ohm: float = 1e12, probe_f: float = 0.0
) -> Tank:
    """Put 100 pF without loss behind 1 pF from 50 ohm."""
    nothing = exact(0.0)
    return Tank(
        kind="coupled-tank" if output_f is None else "coupled-both-sides",
        capacitor_f=exact(100e-12),
        capacitor_loss=nothing,
        self_capacitance_f=nothing,
        stray_f=nothing,
        stray_loss=nothing,
        lead_h=nothing,
        lead_ohm=nothing,
        coupling_f=exact(1e-12),
        source_ohm=exact(50.0),
        probe_ohm=exact(probe_ohm),
        probe_f=exact(probe_f),
        output_coupling_f=None if output_f is None else exact(output_f),
        frequency_reference=nothing,
        linearity=nothing,
        loss_exponent=nothing,
    )


def test_the_prediction_is_the_circuit_at_resonance() -> None:
    """E Cc/T Q: a lossless fixture's tank voltage, by the current through Cc.

    Derived: I = E w Cc into Rp = Q/(w T); the coupling's own loss in 50 ohm,
    (w Cc)^2 Rs against w T/Q, is w Cc^2 Rs Q/T = 1.2e-4 of it at 100 kHz.
    """
    guard = TankGuard(tank(), emf_v=2.0, limit_v=LIMIT_V)
    expected_v = 2.0 * 1.0 / 101.0 * PREDICTED_Q
    assert guard.predicted_v(1e5) == pytest.approx(expected_v, rel=1e-3)


@pytest.mark.parametrize("frequency_hz", [1e5, 1e6])
def test_a_probe_across_the_tank_halves_what_is_predicted(frequency_hz: float) -> None:
    """Where it takes as much as a coil of Q = 400: R = Q/(w T).

    Derived as above, now with G = w T/Q beside it: half of E Cc/T Q, at any frequency.
    """
    probe_ohm = PREDICTED_Q / (2.0 * math.pi * frequency_hz * 101e-12)
    guard = TankGuard(tank(probe_ohm=probe_ohm), emf_v=2.0, limit_v=LIMIT_V)
    expected_v = 0.5 * 2.0 * 1.0 / 101.0 * PREDICTED_Q
    assert guard.predicted_v(frequency_hz) == pytest.approx(expected_v, rel=1e-3)


def test_the_limit_itself_is_allowed() -> None:
    """Neither the prediction nor a reading on it is above it."""
    guard = TankGuard(tank(), emf_v=2.0, limit_v=LIMIT_V)
    at_limit = TankGuard(tank(), emf_v=2.0, limit_v=guard.predicted_v(1e6))
    at_limit.check_before(1e6, 1e6)
    guard.watch(Reading(frequency_hz=1e6, amplitude_v=LIMIT_V))


def test_a_level_too_high_is_refused_before_driving() -> None:
    """The sentence gives a level that is safe, and the caution.

    20 V x 400/101 = 79.2 V on the tank, less 0.12 % in 50 ohm; 30 V of it is 7.58 V,
    of which two digits are safe: 7.5.
    """
    guard = TankGuard(tank(), emf_v=20.0, limit_v=LIMIT_V)
    said = r"at 20 V .* reach 79\.1 V .* limit of 30 V: .* level to 7\.5 V or .*burns"
    with pytest.raises(GuardError, match=said):
        guard.check_before(1e6, 1e6)


def test_a_safe_level_passes() -> None:
    """The level that the refusal names is itself accepted, whatever was asked for."""
    for emf_v in (8.0, 20.0, 333.0):
        guard = TankGuard(tank(), emf_v=emf_v, limit_v=LIMIT_V)
        with pytest.raises(GuardError) as refused:
            guard.check_before(1e6, 2e6)
        named = re.search(r"level to (\S+) V or less", str(refused.value))
        assert named is not None
        safe = TankGuard(tank(), emf_v=float(named[1]), limit_v=LIMIT_V)
        safe.check_before(1e6, 2e6)


def test_a_reading_above_the_limit_stops_the_sweep() -> None:
    """What the prediction missed the watch sees."""
    guard = TankGuard(tank(), emf_v=1.0, limit_v=LIMIT_V)
    assert guard.highest_v == 0.0
    guard.watch(Reading(frequency_hz=1e6, amplitude_v=29.9))
    with pytest.raises(GuardError, match=r"30\.1 V r\.m\.s\."):
        guard.watch(Reading(frequency_hz=1e6, amplitude_v=30.1))
    assert guard.highest_v == pytest.approx(30.1)


def test_a_detector_behind_a_small_capacitor_sees_less_than_the_tank() -> None:
    """The watch goes back through the divider: 1 pF into 50 ohm at 1 MHz is 1/3183.

    Derived: |1 + 1/(jwCR)| with 1/(wCR) = 1/(2 pi 1e6 1e-12 50) = 3183.1.
    """
    guard = TankGuard(tank(output_f=1e-12, probe_ohm=50.0), emf_v=1.0, limit_v=LIMIT_V)
    guard.watch(Reading(frequency_hz=1e6, amplitude_v=1e-3))
    expected_v = 1e-3 / (2.0 * math.pi * 1e6 * 1e-12 * 50.0)
    assert guard.highest_v == pytest.approx(expected_v, rel=1e-6)


@pytest.mark.parametrize(
    ("probe_ohm", "probe_f", "ratio"),
    [(1e12, 0.0, 1.0), (159154.943, 0.0, 2.0**0.5), (1e12, 10e-12, 11.0)],
)
def test_a_probe_of_high_resistance_is_no_short(
    probe_ohm: float, probe_f: float, ratio: float
) -> None:
    """Behind 1 pF at 1 MHz: all of the tank, 1/sqrt(2) of it, a capacitive eleventh.

    Derived: 1/(wC) = 159 154.943 ohm, so that 1 + 1/(jwCR) is 1 - j for R equal to it;
    an open probe with 10 pF divides by 1 + 10/1.
    """
    guard = TankGuard(
        tank(output_f=1e-12, probe_ohm=probe_ohm, probe_f=probe_f),
        emf_v=1.0,
        limit_v=LIMIT_V,
    )
    guard.watch(Reading(frequency_hz=1e6, amplitude_v=2.0))
    assert guard.highest_v == pytest.approx(2.0 * ratio, rel=1e-6)
