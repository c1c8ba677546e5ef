"""A coil's deduction against the exact circuit, solved here by other means.

The circuit is written out as impedances and solved with complex arithmetic:

    E -- Rs -- Cc --+-- C -- Cs -- (probe, or Co -- Rp || Cp) -- ground
                    |
                    +-- lead (R, L) --+-- coil (R, L) -- ground
                                      +-- self-capacitance -- ground

Losses of capacitors are conductances of their value at resonance. Two ways lead to
the tank's f0 and loaded Q: the zero of the node's admittance in the complex plane,
and the response curve fitted by scipy.optimize.curve_fit. Neither shares a line with
the package.

No published source: circuit theory. The last part is from the C74 chapter of the
reference list: NBS Circular 74 (1924), sections 12 and 19 (formulas from memory,
numbers recomputed independently).
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.optimize import curve_fit

from halfpower.analysis import Peak, Stated, Trace, fit
from halfpower.analysis.tank import Resonance, Tank, deduce_coil, deduce_resonance
from halfpower.analysis.uncertainty import Joint

INDUCTANCE = 3.3e-6


@dataclass(frozen=True, kw_only=True)
class Circuit:
    """An invented coil of 3.3 uH on 150 pF, near 6.8 MHz."""

    both_sides: bool
    coil_ohm: float
    capacitor_f: float = 150e-12
    capacitor_loss: float = 1e-4
    stray_f: float = 5e-12
    stray_loss: float = 1e-3
    coupling_f: float = 1e-12
    output_f: float = 1e-12
    source_ohm: float = 50.0
    lead_h: float = 10e-9
    lead_ohm: float = 5e-3
    self_f: float = 2e-12
    loss_omega: float = 2.0 * math.pi * 6.8e6  # where the losses are conductances

    @property
    def probe_ohm(self) -> float:
        """The detector's resistance."""
        return 50.0 if self.both_sides else 1e6

    @property
    def probe_f(self) -> float:
        """The detector's capacitance."""
        return 0.5e-12 if self.both_sides else 10e-12

    def detector(self, s: complex) -> complex:
        """Admittance of what reads the tank."""
        probe = 1.0 / self.probe_ohm + s * self.probe_f
        if not self.both_sides:
            return probe
        return 1.0 / (1.0 / (s * self.output_f) + 1.0 / probe)

    def node(self, s: complex) -> complex:
        """Admittance from the tank to ground, the source's side included."""
        coil = 1.0 / (self.coil_ohm + s * INDUCTANCE) + s * self.self_f
        loop = self.lead_ohm + s * self.lead_h + 1.0 / coil
        source = 1.0 / (self.source_ohm + 1.0 / (s * self.coupling_f))
        losses = self.loss_omega * (
            self.capacitor_f * self.capacitor_loss + self.stray_f * self.stray_loss
        )
        shunt = s * (self.capacitor_f + self.stray_f) + losses
        return 1.0 / loop + source + shunt + self.detector(s)

    def response(self, omega: np.ndarray) -> np.ndarray:
        """Detector's voltage over the e.m.f."""
        s = 1j * omega
        tank = s * self.coupling_f / (1.0 + s * self.coupling_f * self.source_ohm)
        tank = tank / self.node(s)
        if not self.both_sides:
            return np.abs(tank)
        probe = 1.0 / self.probe_ohm + s * self.probe_f
        return np.abs(tank * s * self.output_f / (s * self.output_f + probe))

    def pole(self) -> complex:
        """Zero of the node's admittance, by Newton's method from the plain LC."""
        total = self.capacitor_f + self.stray_f + self.self_f + self.coupling_f
        total += self.output_f if self.both_sides else self.probe_f
        omega = ((INDUCTANCE + self.lead_h) * total) ** -0.5
        s = omega * (-self.coil_ohm / (2.0 * omega * INDUCTANCE) + 1j)
        for _ in range(30):
            step = 1e-7 * omega
            slope = (self.node(s + step) - self.node(s - step)) / (2.0 * step)
            s -= self.node(s) / slope
        assert abs(self.node(s)) < 1e-12 * abs(s * total)
        return s

    def settled(self) -> "Circuit":
        """The same, with its losses taken at its own resonance."""
        found = self
        for _ in range(4):
            found = replace(found, loss_omega=abs(found.pole()))
        return found

    def tank(self) -> Tank:
        """What the package is told of it: everything but the coil's L and R."""
        exact = {
            "capacitor_f": self.capacitor_f,
            "capacitor_loss": self.capacitor_loss,
            "self_capacitance_f": self.self_f,
            "stray_f": self.stray_f,
            "stray_loss": self.stray_loss,
            "lead_h": self.lead_h,
            "lead_ohm": self.lead_ohm,
            "coupling_f": self.coupling_f,
            "source_ohm": self.source_ohm,
            "probe_ohm": self.probe_ohm,
            "probe_f": self.probe_f,
            "frequency_reference": 0.0,
            "linearity": 0.0,
            "loss_exponent": 0.0,
        }
        if self.both_sides:
            exact["output_coupling_f"] = self.output_f
        return Tank(
            kind="coupled-both-sides" if self.both_sides else "coupled-tank",
            **{name: Stated(value=value) for name, value in exact.items()},
        )


def deduce(tank: Tank, *, frequency_hz: float, loaded_q: float) -> dict[str, float]:
    """What the package makes of a resonance, with next to no doubt."""
    pair = Joint.of_one(
        (frequency_hz, loaded_q),
        covariance=np.diag([(1e-9 * frequency_hz) ** 2, (1e-9 * loaded_q) ** 2]),
    )
    return {
        one.name: one.value for one in deduce_coil(tank, measured=Resonance.of(pair))
    }


def truth(circuit: Circuit) -> dict[str, float]:
    """The coil that was put in."""
    omega = abs(circuit.pole())
    return {
        "inductance": INDUCTANCE,
        "series_resistance": circuit.coil_ohm,
        "unloaded_q": omega * INDUCTANCE / circuit.coil_ohm,
    }


def of_coil_q(coil_q: float, *, both_sides: bool) -> Circuit:
    """A circuit whose coil has this Q at 6.8 MHz."""
    ohm = 2.0 * math.pi * 6.8e6 * INDUCTANCE / coil_q
    return Circuit(both_sides=both_sides, coil_ohm=ohm).settled()


def fitted(circuit: Circuit) -> tuple[float, float]:
    """f0 and Q of A x^k / sqrt(1 + Q^2 (x - 1/x)^2) fitted to the exact response."""
    pole = circuit.pole()
    f_pole, q_pole = abs(pole) / (2.0 * math.pi), -abs(pole) / (2.0 * pole.real)
    exponent = 2.0 if circuit.both_sides else 1.0

    def curve(f: np.ndarray, place: float, sharper: float, height: float) -> np.ndarray:
        x = f / (f_pole * (1.0 + (place - 1.0) / q_pole))
        qt = q_pole * sharper * (x - 1.0 / x)
        return height * x**exponent / np.sqrt(1.0 + qt**2)

    half_t = np.linspace(-3.0, 3.0, 61) / (2.0 * q_pole)
    f = f_pole * (np.sqrt(1.0 + half_t**2) + half_t)
    v = circuit.response(2.0 * math.pi * f)
    # Started well off on purpose: a tenth of a bandwidth and 10 % of Q.
    start = (1.1, 1.1, 1.0)
    (place, sharper, _), _ = curve_fit(curve, f, v / v.max(), p0=start)
    return f_pole * (1.0 + (place - 1.0) / q_pole), q_pole * sharper


def misplaced(circuit: Circuit, name: str) -> float:
    """What it costs that the coil's own capacitance is put before the lead.

    It lies behind it, so its current goes through the lead: relative to the current
    in the coil it is Cs/T, and lead inductance and resistance count for 1 - Cs/T of
    themselves twice over (voltage and current): 2 (lead/L)(Cs/T) = 7e-5 of L, and
    2 (lead/R)(Cs/T) of R; a tenth more for what is of second order.
    """
    share = 2.2 * circuit.self_f / 168e-12
    of_l = share * circuit.lead_h / INDUCTANCE
    of_r = share * circuit.lead_ohm / circuit.coil_ohm
    return of_l if name == "inductance" else of_l + of_r


def slope_of_couplings(circuit: Circuit) -> float:
    """What it costs that the couplings are taken at w0 and not at the complex pole.

    jwC + (wC)^2 R becomes sC - s^2 C^2 R, and s^2 = -w^2 (1 + j/Q): (wC)^2 R / (wT)
    is 1.3e-5 for a coupling of 1 pF into 50 ohm, and 1/Q of it goes astray. Half as
    much again, for it enters L and R alike. The next term, s^3 C^3 R^2, turns by
    1.5/Q too: (wCR)^2 C/T = 3e-8 of the susceptance, and Q/Q times that of R.
    """
    pole = circuit.pole()
    omega, q = abs(pole), -abs(pole) / (2.0 * pole.real)
    each = omega * circuit.coupling_f**2 * circuit.source_ohm / 168e-12
    next_term = (omega * circuit.coupling_f * circuit.source_ohm) ** 2
    next_term *= circuit.coupling_f / 168e-12
    couplings = 2.0 if circuit.both_sides else 1.0
    return 1.5 * couplings * (each / q + next_term)


@pytest.mark.parametrize("both_sides", [False, True], ids=["probe", "both-sides"])
@pytest.mark.parametrize("coil_q", [10.0, 30.0, 100.0, 300.0, 1000.0])
def test_a_pole_gives_the_coil_back(coil_q: float, *, both_sides: bool) -> None:
    """To where the self-capacitance is placed, and the couplings (next test)."""
    circuit = of_coil_q(coil_q, both_sides=both_sides)
    pole = circuit.pole()
    got = deduce(
        circuit.tank(),
        frequency_hz=abs(pole) / (2.0 * math.pi),
        loaded_q=-abs(pole) / (2.0 * pole.real),
    )
    for name, value in truth(circuit).items():
        allowed = misplaced(circuit, name) + slope_of_couplings(circuit)
        assert got[name] == pytest.approx(value, rel=allowed), name


@pytest.mark.parametrize("both_sides", [False, True], ids=["probe", "both-sides"])
@pytest.mark.parametrize("coil_q", [10.0, 30.0, 100.0, 300.0, 1000.0])
def test_where_nothing_is_approximated_the_pole_s_coil_is_exact(
    coil_q: float, *, both_sides: bool
) -> None:
    """Without leads; what is left is the couplings' slope, 2e-6 at Q = 10."""
    circuit = of_coil_q(coil_q, both_sides=both_sides)
    circuit = replace(circuit, lead_h=0.0, lead_ohm=0.0).settled()
    pole = circuit.pole()
    got = deduce(
        circuit.tank(),
        frequency_hz=abs(pole) / (2.0 * math.pi),
        loaded_q=-abs(pole) / (2.0 * pole.real),
    )
    for name, value in truth(circuit).items():
        assert got[name] == pytest.approx(
            value, abs=0.0, rel=slope_of_couplings(circuit)
        ), name


@pytest.mark.parametrize("both_sides", [False, True], ids=["probe", "both-sides"])
@pytest.mark.parametrize("coil_q", [10.0, 30.0, 100.0, 300.0, 1000.0])
def test_a_fitted_response_gives_the_coil_back(
    coil_q: float, *, both_sides: bool
) -> None:
    """As a person measures it: L, R and unloaded Q from the curve alone.

    With the loss in series the tank's impedance carries a factor
    sqrt(1 + 1/(Qx)^2) besides: an exponent off by 1/Q^2, which costs f0 0.64/Q^2 of
    that, so 1.3/Q^4 of L; its curvature costs Q as much. The fixture's loss
    multiplies an error of the loaded Q by unloaded over loaded. 1e-6 is for the fit.
    """
    circuit = of_coil_q(coil_q, both_sides=both_sides)
    frequency_hz, loaded_q = fitted(circuit)
    got = deduce(circuit.tank(), frequency_hz=frequency_hz, loaded_q=loaded_q)
    of_curve = 1.5 / loaded_q**4
    for name, value in truth(circuit).items():
        lever = 1.0 if name == "inductance" else coil_q / loaded_q
        allowed = misplaced(circuit, name) + 2.0 * of_curve * lever + 1e-6
        assert got[name] == pytest.approx(value, rel=allowed), name


def test_the_wrong_fixture_would_be_noticed() -> None:
    """These tolerances are not so wide that anything passes: leave the probe out."""
    circuit = of_coil_q(300.0, both_sides=False)
    pole = circuit.pole()
    got = deduce(
        replace(circuit.tank(), probe_ohm=Stated(value=1e9)),
        frequency_hz=abs(pole) / (2.0 * math.pi),
        loaded_q=-abs(pole) / (2.0 * pole.real),
    )
    # 1 Mohm across 141 ohm of reactance: 300/7090 of the loss.
    assert got["series_resistance"] / circuit.coil_ohm - 1.0 == pytest.approx(
        300.0 / 7090.0, rel=0.02
    )


def bare(*, capacitor_f: float, self_f: float) -> Tank:
    """A known capacitor and a coil, with nothing else to speak of."""
    nothing = Stated(value=0.0)
    return Tank(
        kind="coupled-tank",
        capacitor_f=Stated(value=capacitor_f),
        capacitor_loss=nothing,
        self_capacitance_f=Stated(value=self_f),
        stray_f=nothing,
        stray_loss=nothing,
        lead_h=nothing,
        lead_ohm=nothing,
        coupling_f=nothing,
        source_ohm=Stated(value=50.0),
        probe_ohm=Stated(value=1e18),
        probe_f=nothing,
        frequency_reference=nothing,
        linearity=nothing,
        loss_exponent=nothing,
    )


@pytest.mark.parametrize(
    ("capacitor_pf", "frequency_khz"),
    [
        (100, 938.6446),
        (200, 686.4848),
        (300, 567.1460),
        (500, 443.5540),
        (1000, 315.9491),
    ],
)
def test_one_coil_on_five_capacitors_is_one_coil(
    capacitor_pf: float, frequency_khz: float
) -> None:
    """The 250 uH / 15 pF set of the reference list, computed from w^2 L (C + C0) = 1.

    Seven digits of frequency are 1e-7, twice that in L.
    """
    got = deduce(
        bare(capacitor_f=capacitor_pf * 1e-12, self_f=15e-12),
        frequency_hz=frequency_khz * 1e3,
        loaded_q=200.0,
    )
    assert got["inductance"] == pytest.approx(250e-6, rel=3e-7)


def test_a_self_capacitance_left_out_gives_the_apparent_inductance() -> None:
    """NBS C74: La = L/(1 - w^2 L C0); 100 uH, 8 pF, 1 MHz: La/L = 1.0326127."""
    omega = 2.0 * math.pi * 1e6
    total = 1.0 / (omega**2 * 100e-6)
    with_it = deduce(
        bare(capacitor_f=total - 8e-12, self_f=8e-12), frequency_hz=1e6, loaded_q=300.0
    )
    without = deduce(
        bare(capacitor_f=total - 8e-12, self_f=0.0), frequency_hz=1e6, loaded_q=300.0
    )
    assert with_it["inductance"] == pytest.approx(100e-6, abs=0.0, rel=1e-9)
    assert without["inductance"] / with_it["inductance"] == pytest.approx(
        1.0326127, rel=1e-7
    )


def test_a_q_from_the_bandwidth_is_the_coil_s_own() -> None:
    """R = 2 ohm and 100 uH at 1 MHz is Q = 314.159: bandwidth, C0 or not.

    (Indicated by voltage magnification with C0 in the coil it would read
    Qa/Q = 0.968417 of that: NBS C74's Qa = Q (1 - w^2 L C0), which is for other
    instruments.)
    """
    omega = 2.0 * math.pi * 1e6
    total = 1.0 / (omega**2 * 100e-6)
    quality = omega * 100e-6 / 2.0
    got = deduce(
        bare(capacitor_f=total - 8e-12, self_f=8e-12),
        frequency_hz=1e6,
        loaded_q=quality,
    )
    assert got["unloaded_q"] == pytest.approx(314.159265, rel=1e-8)
    assert got["series_resistance"] == pytest.approx(2.0, rel=1e-8)


@pytest.mark.parametrize("q", [20.0, 60.0, 170.0, 500.0])
@pytest.mark.parametrize("exponent", [0.0, 0.5, 1.0])
def test_a_loss_that_rises_with_frequency_moves_f0_by_n_over_4q2(
    q: float, exponent: float
) -> None:
    """A fit with constant R finds f0 low by n/(4 Q^2); the correction mends it.

    The circuit is exact: 168 pF across L in series with R0 (f/f0)^n, driven through
    1 pF. What is left is of the next order, (n/(4 Q^2))^2 and 0.55/Q^4 of the series
    loss: 1/Q^4 bounds both.
    """
    f0_hz, total_f, coupling_f = 7e6, 168e-12, 1e-12
    omega0 = 2.0 * math.pi * f0_hz
    inductance_h = 1.0 / (omega0**2 * total_f)
    half_t = np.array([0.0, 0.5, -0.5, 1.0, -1.0, 1.7, -1.7, 3.0, -3.0]) / (2.0 * q)
    frequency_hz = f0_hz * (np.sqrt(1.0 + half_t**2) + half_t)
    s = 2j * math.pi * frequency_hz
    series_ohm = omega0 * inductance_h / q * (frequency_hz / f0_hz) ** exponent
    admittance = s * total_f + 1.0 / (series_ohm + s * inductance_h)
    amplitude_v = np.abs(s * coupling_f / admittance)
    found = fit(
        Trace(
            frequency_hz=frequency_hz,
            amplitude_v=amplitude_v,
            u_amplitude_v=1e-6 * np.full(9, amplitude_v.max()),
        ),
        response=Peak(exponent=1.0),
    )
    nothing = Stated(value=0.0)
    f0 = deduce_resonance(
        found,
        frequency_reference=nothing,
        linearity=nothing,
        loss_exponent=Stated(value=exponent),
    )[0]
    assert abs(f0.value / f0_hz - 1.0) < 1.0 / q**4 + 1e-9
    uncorrected = found.resonant_frequency_hz / f0_hz - 1.0
    assert uncorrected == pytest.approx(-exponent / (4.0 * q**2), abs=1.0 / q**4 + 1e-9)


# What a series loss that goes as w^n does to a fit that takes it as constant; no
# published source: the circuit's complex arithmetic, n and Q varied.
@pytest.mark.parametrize("exponent", [0.25, 0.5, 1.0])
@pytest.mark.parametrize("q", [8.0, 20.0])
def test_the_loss_s_slope_is_taken_out_of_f0_and_q(exponent: float, q: float) -> None:
    """n/(4 Q^2) of f0 and 3 n^2/(8 Q^2) of Q; a twelfth of either may be left.

    At Q = 8 and n = 1 they are 0.39 and 0.59 %. Of f0 a loss that is constant leaves
    0.55/Q^4 besides.
    """
    henry, farad = 25e-6, 170e-12
    omega_0 = (henry * farad) ** -0.5
    places = np.array(
        [0.0, 0.5, -0.5, 1.0, -1.0, 3.0, -3.0, *([3**0.5, -(3**0.5)] * 9)]
    )
    x = np.hypot(1.0, places / (2.0 * q)) + places / (2.0 * q)
    omega = omega_0 * x
    ohm = omega_0 * henry / q * x**exponent
    tank = 1.0 / (1j * omega * farad + 1.0 / (ohm + 1j * omega * henry))
    wobble = 1.0 + 1e-6 * (-1.0) ** np.arange(places.size)
    found = fit(
        Trace(
            frequency_hz=omega / (2.0 * np.pi),
            amplitude_v=np.abs(omega * tank) / omega_0**2 / henry * wobble,
        ),
        response=Peak(exponent=1.0),
    )
    exact = Stated(value=0.0)
    corrected = {
        one.name: one.value
        for one in deduce_resonance(
            found,
            frequency_reference=exact,
            linearity=exact,
            loss_exponent=Stated(value=exponent),
        )
    }
    tilt = exponent / (4.0 * q**2)
    assert corrected["resonant_frequency"] == pytest.approx(
        omega_0 / (2.0 * np.pi), rel=0.08 * tilt + 0.6 / q**4
    )
    wrong = 3.0 * exponent**2 / (8.0 * q**2)
    assert corrected["loaded_q"] == pytest.approx(q, rel=0.08 * wrong + 2e-5)
    assert abs(found.loaded_q / q - 1.0) > 0.8 * wrong
