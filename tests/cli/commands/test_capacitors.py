"""`halfpower predict capacitors`: table, document, verdicts and refusals."""

import json

import pytest
from typer.testing import CliRunner, Result

from halfpower.cli.commands.predict import app

HAVE = ("--have", "47pF +- 1%", "--have", "150pF +- 1%")


def capacitors(*arguments: str) -> Result:
    """Run a command line in this process."""
    ended = CliRunner(env={"COLUMNS": "140"}).invoke(app, ["capacitors", *arguments])
    if ended.exception and not isinstance(ended.exception, SystemExit):
        raise ended.exception
    return ended


def test_the_recommendation_is_the_last_line() -> None:
    """Of the two, the larger: the strays' doubt is on the smaller one."""
    ended = capacitors("--scene", "kit-coil", *HAVE)
    assert ended.exit_code == 0
    last = ended.stdout.splitlines()[-1]
    assert last.startswith(
        "Use 150pF +- 1% over the whole range: the inductance to 0.9"
    )
    for word in ("fixture Q", "its share", "tank", "u(L)/L", "of strays", "u(Q)/Q"):
        assert word in ended.stdout


def test_the_document_has_every_use_and_the_recommendation() -> None:
    """Schema, three inductances each; nothing else on standard output."""
    document = json.loads(
        capacitors("--scene", "kit-coil", *HAVE, "--json", "-").stdout
    )
    assert document["schema"] == "halfpower.capacitors/1"
    assert document["recommended"] == ["150pF +- 1%"]
    small, large = document["capacitors"]
    assert [use["inductance_h"] for use in small["uses"]] == pytest.approx(
        [5e-6, 15.811e-6, 50e-6], rel=1e-4, abs=0.0
    )
    assert small["uses"][0]["u_from_strays"] > large["uses"][0]["u_from_strays"]
    assert small["usable"] is True
    assert document["assumed"]["n_readings"] == 60


def test_what_is_foreseen_is_what_the_bench_then_finds() -> None:
    """The demo measures 3.276 uH with a Q of 176.9: 6.7736 MHz, loaded to 168.0."""
    ended = capacitors(
        *("--scene", "kit-coil", "--have", "150pF +- 1%", "--json", "-"),
        *("--lowest", "3.276uH", "--highest", "3.276uH", "--coil-q", "176.9"),
        *("--self-capacitance", "2pF +- 0.3pF"),
        *("--capacitor-loss", "0.0001 +- 0.00005"),
    )
    use = json.loads(ended.stdout)["capacitors"][0]["uses"][0]
    assert use["resonant_frequency_hz"] == pytest.approx(6.7736e6, rel=2e-4)
    assert use["loaded_q"] == pytest.approx(167.97, rel=1e-3)
    # Its 95 % limits are 0.041 uH and 2.0: about twice the standard uncertainties.
    assert use["u_inductance"] == pytest.approx(0.041 / 2.0 / 3.276, rel=0.1)
    assert use["u_unloaded_q"] == pytest.approx(2.0 / 2.0 / 176.9, rel=0.15)


def test_noise_may_be_stated_in_volts() -> None:
    """And is said with its unit."""
    ended = capacitors("--scene", "kit-coil", *HAVE, "--noise", "2mV")
    assert "noise of 2 mV at the tank" in ended.stdout


def test_none_that_can_be_used_ends_with_status_4() -> None:
    """10 nF and 10 H resonate at 500 Hz, below the bench's 1 kHz."""
    ended = capacitors(
        *("--scene", "kit-coil", "--have", "10nF"),
        *("--lowest", "1H", "--highest", "10H"),
    )
    assert ended.exit_code == 4
    assert "None of these capacitors" in ended.stdout
    assert "below the bench's 1 kHz" in ended.stdout


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (HAVE, "say what is on the bench"),
        (("--scene", "nosuch", *HAVE), "no bundled scene"),
        (("--scene", "kit-coil", "--have", "150nH"), "not in F"),
        (("--scene", "kit-coil", "--have", "0pF"), "cannot be"),
        (("--scene", "kit-coil", *HAVE, "--lowest", "1mH"), "is empty"),
        (("--scene", "kit-coil", *HAVE, "--lowest", "5uF"), "not in H"),
        (("--scene", "kit-coil", *HAVE, "--coil-q", "nan"), "Q is 1 to"),
        (("--scene", "kit-coil", *HAVE, "--readings", "-1"), "3 readings or more"),
        (("--scene", "kit-coil", *HAVE, "--noise", "0"), "noise is above 0"),
        (("--scene", "kit-coil", *HAVE, "--noise", "2mA"), "not a share"),
        (("--scene", "kit-coil", *HAVE, "--self-capacitance", "50pF"), "between 0 and"),
        (("--scene", "kit-coil", *HAVE, "--capacitor-loss", "2"), "between 0 and 1"),
        (("--bench", "missing.toml", *HAVE), "missing.toml"),
    ],
)
def test_unusable_input_is_one_sentence_and_no_number(
    arguments: tuple[str, ...], sentence: str
) -> None:
    """Exit status 2, the sentence on standard error, standard output empty."""
    ended = capacitors(*arguments)
    assert (ended.exit_code, ended.stdout) == (2, "")
    assert sentence in ended.stderr
    assert ended.stderr.count("\n") == 1
