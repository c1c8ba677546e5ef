"""A coil's inductance worked out again from its result document alone.

With the JSON module and the arithmetic of a tank at resonance, none of the program's
own: a coil of L and R in series across T and G balances where w^2 L T = 1 + R G and
1/Q = w (R T + L G)/(1 + R G) (from Y(w) = 1/(R + jwL) + jwT + G: Im Y = 0 to the first
order in 1/Q^2, and the energy lost in a cycle over that stored).
"""

import json
import math
import re
from collections.abc import Callable
from typing import Any

import pytest

Run = Callable[..., Any]
ONE = (
    "coil", "--scene", "kit-coil", "--seed", "3", "--from", "4MHz", "--to", "10MHz",
    "--capacitor", "150pF +- 1%", "--capacitor-loss", "0.0001 +- 0.00005",
)  # fmt: skip
TWO = (
    "coil", "--scene", "coil-set", "--seed", "3", "--from", "1MHz", "--to", "9MHz",
    "--capacitor", "68pF +- 1%", "--capacitor", "150pF +- 1%",
)  # fmt: skip


def resonance(fit: dict[str, Any], known: Callable[[str], float]) -> tuple[float, ...]:
    """Give w in rad/s and 1/Q of a fit, less what the loss's own slope does to them.

    A loss that goes as w^n moves a peak fitted with constant loss by -n/(4 Q^2) of f0
    and Q by 3 n^2/(8 Q^2) of itself: docs/procedures.md.
    """
    n, read_q = known("loss exponent"), fit["loaded_q"]["value"]
    quality = read_q * (1.0 - 3.0 * n**2 / (8.0 * read_q**2))
    f0 = fit["resonant_frequency"]["value"] * (1.0 + n / (4.0 * quality**2))
    return 2.0 * math.pi * f0, 1.0 / quality


def across(
    known: Callable[[str], float], *, omega: float, capacitor: str, loss: str
) -> complex:
    """Admittance in S of all the document knows across the coil at w.

    Coupling capacitor Cc from source resistance Rs: 1/(Rs + 1/(j w Cc)).
    """
    coupled = 1.0 / (
        known("source resistance") + 1.0 / (1j * omega * known("coupling capacitor"))
    )
    probe = 1.0 / known("probe resistance") + 1j * omega * known("probe capacitance")
    tank = omega * known(capacitor) * (1j + known(loss))
    stray = omega * known("fixture's stray") * (1j + known("fixture's stray loss"))
    return coupled + probe + tank + stray


def coil_of(*, omega: float, loss: float, shunt: complex) -> tuple[float, float]:
    """L and R by turns: each equation solved for its own unknown, until they rest."""
    farad, siemens, ohm, henry = shunt.imag / omega, shunt.real, 0.0, 0.0
    for _ in range(50):
        henry = (1.0 + ohm * siemens) / (omega**2 * farad)
        ohm = (loss * (1.0 + ohm * siemens) / omega - henry * siemens) / farad
    return henry, ohm


def measured(halfpower: Run, *command: str) -> tuple[dict[str, Any], Any]:
    """A document, and a look-up of its settings by name."""
    ended = halfpower(*command, "--json", "-")
    assert ended.status == 0, ended.err
    document = json.loads(ended.out)
    settings = document["evidence"]["settings"]
    return document, lambda name: settings[name]["value"]


def test_the_inductance_follows_from_a_coil_s_document(halfpower: Run) -> None:
    """One capacitor: within a tenth of u, which is 1 % of the capacitor or less."""
    document, known = measured(halfpower, *ONE)
    (swept,) = document["evidence"]["sweeps"]
    omega, loss = resonance(swept["fit"], known)
    shunt = across(
        known,
        omega=omega,
        capacitor="resonating capacitor",
        loss="resonating capacitor's loss",
    ) + 1j * omega * known("coil's self-capacitance")
    henry, ohm = coil_of(omega=omega, loss=loss, shunt=shunt)
    found = document["quantities"]["inductance"]
    u = found["standard_uncertainty"]
    assert u < 0.02 * found["value"]
    assert henry - known("lead inductance") == pytest.approx(found["value"], abs=u / 10)
    series = document["quantities"]["series_resistance"]
    assert ohm - known("lead resistance") == pytest.approx(
        series["value"], abs=series["standard_uncertainty"] / 10
    )
    # The fit as it was read is not the corrected one, so that a script must correct.
    raw = swept["fit"]["resonant_frequency"]["value"]
    corrected = document["quantities"]["resonant_frequency"]["value"]
    assert corrected != raw
    assert corrected == pytest.approx(omega / (2.0 * math.pi), rel=1e-12)


def test_its_uncertainty_follows_too(halfpower: Run) -> None:
    """What 150 pF +- 1 % does to L, by moving it: the budget's own line."""
    document, known = measured(halfpower, *ONE)
    (swept,) = document["evidence"]["sweeps"]
    omega, loss = resonance(swept["fit"], known)
    names = {"capacitor": "resonating capacitor", "loss": "resonating capacitor's loss"}
    one = document["evidence"]["settings"]["resonating capacitor"]
    assert one["distribution"] == "rectangular"
    moved = []
    for sign in (1.0, -1.0):
        shunt = across(known, omega=omega, **names)
        shunt += 1j * omega * known("coil's self-capacitance")
        shunt += sign * 1j * omega * one["standard_uncertainty"]
        moved.append(coil_of(omega=omega, loss=loss, shunt=shunt)[0])
    (line,) = (
        part
        for part in document["quantities"]["inductance"]["budget"]
        if part["source"] == "resonating capacitor"
    )
    # Half the difference of both sides: to the third order of 0.6 %.
    assert abs(moved[0] - moved[1]) / 2.0 == pytest.approx(
        line["standard_uncertainty"], rel=1e-3
    )


def test_the_line_follows_from_two_capacitors(halfpower: Run) -> None:
    """Two points make a line: L is the slope of (1 + R G)/w^2 over what is known."""
    document, known = measured(halfpower, *TWO)
    assert "resonating capacitor" not in document["evidence"]["settings"]
    sweeps = document["evidence"]["sweeps"]
    points = []
    for swept in sweeps:
        omega, loss = resonance(swept["fit"], known)
        shunt = across(
            known,
            omega=omega,
            capacitor=f"capacitor, {swept['step']}",
            loss=f"capacitor's loss, {swept['step']}",
        )
        points.append((omega, loss, shunt))
    own = 0.0
    for _ in range(20):  # R takes the self-capacitance, and that the line with R
        ordinates = [
            (1.0 + coil_of(omega=w, loss=q, shunt=y + 1j * w * own)[1] * y.real) / w**2
            for w, q, y in points
        ]
        knowns = [y.imag / w for w, _, y in points]
        henry = (ordinates[1] - ordinates[0]) / (knowns[1] - knowns[0])
        own = ordinates[0] / henry - knowns[0]
    for name, value in (
        ("inductance", henry - known("lead inductance")),
        ("self_capacitance", own),
    ):
        found = document["quantities"][name]
        u = found["standard_uncertainty"]
        assert value == pytest.approx(found["value"], abs=u / 10)
    assert u < 4e-12  # of the self-capacitance: 1 % of 68 pF and of 150 pF, crossed


# SI, by what the name says: a length in m, a share as 1.
UNITS = {
    "resistance": "ohm", "inductance": "H", "thickness": "m", "width": "m",
    "length": "m", "loss": "1", "exponent": "1", "linearity": "1", "reference": "1",
    "error": "1", "scale": "1", "likeness": "1", "field": "1", "line": "m",
    "capacitor": "F", "capacitance": "F", "stray": "F", "permittivity": "1",
    "air": "1", "leads": "F",
}  # fmt: skip
TANK = ("--tank", "150pF +- 1%", "--from", "1.5MHz", "--to", "4MHz")
FIXTURE = (
    "fixture", "measure", "--scene", "coil-set", "--from", "1MHz", "--to", "9MHz",
    "--capacitor", "68pF +- 1%", "--capacitor", "150pF +- 1%", "--second-probe",
    "--common-error", "0.2%",
    "--self-capacitance", "4pF +- 0.4pF", "--self-capacitance", "2pF +- 0.5pF",
)  # fmt: skip


@pytest.mark.parametrize(
    "command",
    [
        ONE,
        (*TWO, "--common-error", "0.2%"),
        ("capacitor", "--scene", "capacitor-drawer", *TANK),
        ("capacitor", "--scene", "mica-capacitor", "--method", "dial", "--at", "2MHz"),
        (
            "sheet", "--scene", "board-sheet", *TANK, "--thickness", "1.6mm +- 0.02mm",
            "--width", "60mm +- 0.06mm", "--length", "60mm +- 0.06mm",
        ),
        FIXTURE,
    ],
    ids=["coil", "line", "capacitor", "dial", "sheet", "fixture"],
)  # fmt: skip
def test_every_constant_of_a_budget_is_a_number_with_its_unit(
    halfpower: Run, command: tuple[str, ...]
) -> None:
    """By the same name, with a doubt; the rest of a budget is the readings' own."""
    document, _ = measured(halfpower, *command)
    settings = document["evidence"]["settings"]
    sources = {
        part["source"]
        for quantity in document["quantities"].values()
        for part in quantity.get("budget", ())
        if part["standard_uncertainty"] > 0.0
    }
    stated = {one for one in sources if not one.startswith("readings and fit")}
    assert len(stated) >= 3
    for name in stated:
        one = settings[name]
        plain = name.partition(", ")[0].partition(" of coil ")[0]
        assert one["unit"] == UNITS[re.split(r"[ -]", plain)[-1]]
        assert one["standard_uncertainty"] > 0.0
        assert one["distribution"] in {"normal", "rectangular"}
        assert one["text"]
