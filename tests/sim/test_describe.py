"""Scenes in words: the user's knowledge, and none of the truth."""

import pytest

from halfpower import sim


def test_a_description_gives_nominal_values_and_tolerances():
    """With units a person writes, from every part of the file."""
    text = sim.describe_scene(sim.load_scene("kit-coil"))
    for phrase in (
        "capacitance 150 pF +- 1 %",
        "inductance 3.3 uH, sd 2 %",
        "coupling (source - tank): capacitance 1 pF +- 10 %",
        "reference error 0 ppm +- 2 ppm",
        "input capacitance 10 pF +- 1 pF",
    ):
        assert phrase in text


@pytest.mark.parametrize("name", sim.bundled_scenes())
def test_every_bundled_scene_can_be_described(name):
    """In plain text, no line too wide for a page of a manual."""
    text = sim.describe_scene(sim.load_scene(name))
    assert text.isascii()
    assert max(len(line) for line in text.splitlines()) <= 120


def test_faults_lots_and_the_room_are_described():
    """What can go wrong is no secret."""
    assert "kind silence, probability 0.01" in sim.describe_scene(
        sim.load_scene("kit-coil-faults")
    )
    assert "one of 200 coils" in sim.describe_scene(sim.load_scene("choke-lot"))
    assert "warming 0.002 K/s" in sim.describe_scene(
        sim.load_scene("kit-coil-drifting")
    )


def test_titles_are_one_line_each():
    """One for every bundled scene."""
    titles = sim.scene_titles()
    assert tuple(titles) == sim.bundled_scenes()
    assert all("\n" not in title for title in titles.values())


def test_what_the_package_does_not_have_is_an_attribute_error():
    """The lazy import keeps Python's manners."""
    with pytest.raises(AttributeError, match="nonsense"):
        _ = sim.nonsense
