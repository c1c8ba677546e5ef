"""What the person at the fixture is asked, and what an unattended run is not."""

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from halfpower.analysis import Reading
from halfpower.analysis.errors import InputError
from halfpower.cli.at_bench import Lamp
from halfpower.cli.at_bench.attendant import DrawingAttendant, PersonAttendant
from halfpower.drivers.instruments import OutputState
from halfpower.sweeps.run import Arrangement, Progress

COIL = Arrangement(step="", instruction="Put it on.", fitted=("coil",), hookup="coil")


def lamp_of(output: OutputState, **more: Any) -> Lamp:
    """Give the lamp of a bench in this state."""
    lamp = Lamp(simulated=False)
    generator = SimpleNamespace(output=output, see_off=lambda: None)
    lamp.bench = SimpleNamespace(  # type: ignore[assignment] # what it needs of it
        output=output, generator=generator, frequency_hz=None, **more
    )
    return lamp


def attendant(*answers: str, **more: Any) -> tuple[PersonAttendant, list[str]]:
    """Give a person's attendant, and everything that is said to them."""
    said, left = list[str](), list(answers)

    def ask(question: str) -> str:
        said.append(question)
        if not left:
            raise InputError("nobody is there")
        return left.pop(0)

    given = {"lamp": lamp_of(OutputState.OFF), "attached": False} | more
    return PersonAttendant(ask, tell=said.append, **given), said


def test_what_is_attached_already_is_not_asked_for_once() -> None:
    """The first arrangement only: the next needs somebody."""
    person, said = attendant("", attached=True)
    person.arrange(COIL)
    person.arrange(COIL)
    assert said[0].startswith("Not asked (--attached)")
    assert said[1] == "The generator's output is off. Put it on. Then press Enter."


def test_where_nobody_answers_the_way_to_run_unattended_is_said() -> None:
    """Beside the sentence that there is nobody."""
    person, _ = attendant()
    with pytest.raises(InputError) as caught:
        person.arrange(COIL)
    assert "--attached" in caught.value.__notes__[0]


@pytest.mark.parametrize("output", [OutputState.TOLD_OFF, OutputState.UNKNOWN])
def test_the_output_is_not_said_to_be_off_where_that_is_not_known(
    output: OutputState,
) -> None:
    """Told, or nothing known: neither is off."""
    person, said = attendant("", lamp=lamp_of(output))
    person.arrange(COIL)
    assert "output is off." not in said[0]
    assert "look at it" in said[0]


def test_the_drawing_is_named_where_it_is_asked_for(tmp_path: Path) -> None:
    """Each time, though it is drawn once."""
    person, said = attendant("", "")
    drawing = DrawingAttendant(person, folder=tmp_path, kind="coupled-tank")
    for _ in range(2):
        drawing.arrange(COIL)
        assert f"(Drawn: {tmp_path / 'coil.svg'})" in said[-1]


def test_the_lamp_says_what_it_was_told_and_forgets_what_was_taken_back() -> None:
    """Frequency as set, the tank's voltage as read, its highest; off is not driving."""
    lamp = lamp_of(OutputState.ON)
    lamp.bench.frequency_hz = 7.1e6  # type: ignore[union-attr] # it has one
    assert lamp.driving == "DRIVING 7.100000 MHz, tank not read yet"
    reading = Reading(frequency_hz=7.1e6, amplitude_v=0.2)
    for tank_v in (9.25, 3.5):
        progress = Progress(phase="refine", taken=7, expected=30, tank_v=tank_v)
        lamp.reading(reading, progress=progress)
    assert lamp.driving == "DRIVING 7.100000 MHz, tank 3.5 V (highest 9.25 V)"
    assert lamp.line.endswith(": refine, reading 7 of about 30")
    lamp.taken_back(reading)
    assert "tank not read yet" in lamp.driving
    lamp.bench.output = OutputState.OFF  # type: ignore[misc, union-attr] # a stand-in
    assert lamp.driving == ""
    assert lamp.line == "The generator's output is off."
