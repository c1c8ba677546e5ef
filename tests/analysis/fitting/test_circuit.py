"""The circuit fit: against nodal equations solved here, where no shape is exact."""

from typing import Any

import numpy as np
import pytest

from halfpower.analysis import InputError, Peak, Trace, fit
from halfpower.analysis.fitting import Flag
from halfpower.analysis.fitting.circuit import Circuit, KnownElements, coil_in_circuit

L, C = 33e-6, 150e-12


def detector_voltage(f: np.ndarray, r0: float, known: dict[str, Any]) -> np.ndarray:
    """Solve the nodal equations of coil, source and detector, frequency by frequency.

    Nodes: 1 the tank's top, 2 the detector; conductances as in any text on circuits.
    """
    out = []
    f0 = 1 / (2 * np.pi * np.sqrt(L * C))
    for one in f:
        w = 2 * np.pi * one
        coil = r0 * (one / f0) ** known.get("loss_exponent", 0.5) + 1j * w * L
        source = known.get("source_resistance_ohm", 50.0)
        if known.get("drive") == "series":
            y_in = 1 / (coil + source)
            y = np.array([[y_in + 1j * w * known["capacitance_f"], 0], [0, 0j]])
        else:
            cc = known.get("coupling_capacitance_f")
            y_in = 1 / (source + (1 / (1j * w * cc) if cc else 0))
            y = np.array(
                [[y_in + 1j * w * known["capacitance_f"] + 1 / coil, 0], [0, 0j]]
            )
        y[1, 1] = 1 / known.get("detector_resistance_ohm", 1e30)
        y[1, 1] += 1j * w * known.get("detector_capacitance_f", 0.0)
        link = known.get("detector_coupling_f")
        y_link = 1j * w * link if link else 1e6  # a wire, all but
        y += y_link * np.array([[1, -1], [-1, 1]])
        out.append(abs(np.linalg.solve(y, [y_in, 0])[1]))
    return np.array(out)


FIXTURES: list[dict[str, Any]] = [
    {
        "capacitance_f": C,
        "coupling_capacitance_f": 2e-12,
        "detector_resistance_ohm": 1e6,
    },
    {"capacitance_f": C, "source_resistance_ohm": 2e4, "detector_capacitance_f": 9e-12},
    {
        "capacitance_f": C,
        "coupling_capacitance_f": 3e-12,
        "detector_coupling_f": 3e-12,
        "detector_resistance_ohm": 50.0,
        "loss_exponent": 0.0,
    },
    {"capacitance_f": C, "drive": "series", "source_resistance_ohm": 1.0},
]


@pytest.mark.parametrize("q", [3.0, 10.0, 80.0])
@pytest.mark.parametrize("known", FIXTURES)
def test_coil_is_found_exactly_at_any_q(known: dict[str, Any], q: float) -> None:
    """L to 1e-6 and R to 1e-4, from readings over +/-2.5 half-bandwidths."""
    f0 = 1 / (2 * np.pi * np.sqrt(L * C))
    r0 = 2 * np.pi * f0 * L / q
    loads = sum(v for name, v in known.items() if name[-2:] == "_f" and v < C)
    middle = f0 / np.sqrt(1 + loads / C)
    f = middle * np.exp(np.arcsinh(np.linspace(-4.0, 3.0, 41) / (2 * q)))
    trace = Trace(frequency_hz=f, amplitude_v=detector_voltage(f, r0, known))
    coil = coil_in_circuit(fit(trace, response=Circuit(known=KnownElements(**known))))
    assert coil.inductance_h == pytest.approx(L, rel=1e-6)
    # R0 is stated at the loaded f0, a few per cent from the f0 of L and C alone.
    n = known.get("loss_exponent", 0.5)
    at = fit(trace, response=Circuit(known=KnownElements(**known)))
    here = r0 * (at.resonant_frequency_hz / f0) ** n
    assert coil.series_resistance_ohm == pytest.approx(here, rel=1e-4)


@pytest.mark.parametrize("q", [5.0, 10.0])
def test_the_right_exponent_leaves_what_it_is_said_to_leave(q: float) -> None:
    """About 0.55/Q^4 of f0 for a constant series loss: 1e-3 at 5, 6e-5 at 10.

    A source of current into coil and capacitor in parallel, k = 0.
    """
    f0 = 1 / (2 * np.pi * np.sqrt(L * C))
    x = np.exp(np.arcsinh(np.linspace(-2.5, 2.5, 61) / (2 * q)))
    v = np.abs(1 / (1j * x + 1 / (1 / q + 1j * x)))
    found = fit(Trace(frequency_hz=f0 * x, amplitude_v=v), response=Peak())
    shift = abs(found.resonant_frequency_hz / f0 - 1) * q**4
    assert 0.3 < shift < 0.8


@pytest.mark.parametrize("q", [10.0, 30.0])
def test_a_loss_that_rises_with_frequency_leaves_more(q: float) -> None:
    """Skin effect, n = 0.5: about 0.13/Q^2 of f0 over +/-2.5 half-bandwidths."""
    f0 = 1 / (2 * np.pi * np.sqrt(L * C))
    x = np.exp(np.arcsinh(np.linspace(-2.5, 2.5, 61) / (2 * q)))
    v = np.abs(1 / (1j * x + 1 / (np.sqrt(x) / q + 1j * x)))
    found = fit(Trace(frequency_hz=f0 * x, amplitude_v=v), response=Peak())
    shift = abs(found.resonant_frequency_hz / f0 - 1) * q**2
    assert 0.10 < shift < 0.16


def test_uncertainties_are_honest_at_low_q() -> None:
    """Q = 5, 1 % noise, 150 traces; a variance is then known to 12 %: three."""
    known, f0 = FIXTURES[0], 1 / (2 * np.pi * np.sqrt(L * (C + 2e-12)))
    r0 = 2 * np.pi * f0 * L / 5.0
    f = f0 * np.exp(np.arcsinh(np.linspace(-4.0, 3.0, 41) / 10.0))
    clean = detector_voltage(f, r0, known)
    rng, scores = np.random.default_rng(1), []
    for _ in range(150):
        v = np.abs(clean + rng.normal(0, 0.01 * clean.max(), f.size))
        found = fit(
            Trace(frequency_hz=f, amplitude_v=v),
            response=Circuit(known=KnownElements(**known)),
        )
        assert Flag.LOW_Q not in found.flags
        coil = coil_in_circuit(found)
        scores.append((coil.inductance_h - L) / coil.u_inductance_h)
    assert np.mean(np.square(scores)) == pytest.approx(1.0, abs=0.36)


def test_elements_that_load_more_than_what_is_seen_are_refused() -> None:
    """A detector said to be 10 kohm where it is 1 Mohm."""
    f = 2.247e6 * np.exp(np.linspace(-0.03, 0.03, 41))
    trace = Trace(frequency_hz=f, amplitude_v=detector_voltage(f, 5.0, FIXTURES[0]))
    known = KnownElements(**{**FIXTURES[0], "detector_resistance_ohm": 1e4})
    with pytest.raises(InputError, match="load the resonance"):
        coil_in_circuit(fit(trace, response=Circuit(known=known)))


def test_a_fit_of_another_family_has_no_coil() -> None:
    """Only a circuit says what the coil is."""
    f = 2.247e6 * np.exp(np.linspace(-0.03, 0.03, 41))
    trace = Trace(frequency_hz=f, amplitude_v=detector_voltage(f, 5.0, FIXTURES[0]))
    with pytest.raises(InputError, match="not of a circuit"):
        coil_in_circuit(fit(trace, response=Peak(exponent=1.0)))


@pytest.mark.parametrize(
    "bad",
    [
        {"capacitance_f": -1e-12},
        {"capacitance_f": C, "coupling_capacitance_f": 0.0},
        {"capacitance_f": C, "detector_resistance_ohm": 0.0},
        {"capacitance_f": C, "source_resistance_ohm": 0.0},
    ],
)
def test_impossible_elements_are_refused(bad: dict[str, float]) -> None:
    """Each with its name."""
    with pytest.raises(InputError):
        KnownElements(**bad)  # type: ignore[arg-type] # numbers all of them
