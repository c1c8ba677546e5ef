"""Scene files: read, refused with the line, and the nearest key named."""

import os

import pytest

from halfpower.sim import SceneError, bundled_scenes, load_scene
from halfpower.sim.scene_files import bundled_fixtures, load_fixture

GOOD = """\
schema = "halfpower.scene/1"
title = "t"
setting = "s"
[generator]
resource = "TCPIP0::192.0.2.10::inst0::INSTR"
[detector]
kind = "scope"
resource = "TCPIP0::192.0.2.11::inst0::INSTR"
[fixture]
table = "coupled-tank"
[parts.coil]
kind = "coil"
inductance_h = 3.3e-6
"""


@pytest.fixture
def refused(tmp_path):
    """Load a scene that must not load; give its error."""

    def load(text):
        path = tmp_path / "scene.toml"
        path.write_text(text)
        with pytest.raises(SceneError) as caught:
            load_scene(path)
        assert caught.value.path == str(path)
        return caught.value

    return load


@pytest.mark.parametrize("name", bundled_scenes())
def test_every_bundled_scene_builds_and_answers(name):
    """With an identity from every instrument, and words that say it is invented."""
    scene = load_scene(name)
    bench = scene.build(seed=4)
    for core in bench.instruments.values():
        assert core.execute(b"*IDN?").startswith(b"HALFPOWER SIM,")
    assert "invented" in scene.text.splitlines()[0]


@pytest.mark.parametrize("name", bundled_fixtures())
def test_every_bundled_fixture_loads(name):
    """And has a slot for a coil."""
    assert "coil" in {slot.name for slot in load_fixture(name).slot}


ROWS = [
    # what is replaced, by what, line, part of the sentence
    ('title = "t"', 'titl = "t"', 2, "titl is not known here; did you mean title?"),
    ("resource", "resourc", 5, "did you mean resource?"),
    ("inductance_h", "inductence_h", 13, "did you mean inductance_h?"),
    ("3.3e-6", '"3.3u"', 13, "parts.coil.inductance_h: must be a number"),
    ("3.3e-6", "-3.3e-6", 13, "parts.coil.inductance_h: must be greater than 0"),
    ("3.3e-6", "nan", 13, "parts.coil.inductance_h"),
    (
        "3.3e-6",
        "{ nominal = 3.3e-6, sd = 1e-8, half_width = 1e-8 }",
        13,
        "give one of half_width",
    ),
    ("3.3e-6", "{ nominl = 3.3e-6 }", 13, "did you mean nominal?"),
    ('kind = "coil"', 'kind = "coal"', 12, "coal"),
    ('kind = "scope"', 'kind = "scoop"', 7, "scoop"),
    ("[parts.coil]", "[parts.coyl]", 11, "no slot coyl; did you mean coil?"),
    ("coupled-tank", "cupled-tank", 10, "did you mean coupled-tank?"),
    (
        'table = "coupled-tank"',
        'table = "coupled-tank"\n[fixture.elements.strey]\ncapacitance_f = 1e-12',
        11,
        "no element strey; did you mean stray?",
    ),
    (
        '[detector]\nkind = "scope"',
        'frequency_min_hz = 2e6\nfrequency_max_hz = 1e6\n[detector]\nkind = "scope"',
        4,
        "frequency_min_hz must be below",
    ),
    ("halfpower.scene/1", "halfpower.scene/9", 1, "halfpower.scene/1"),
    ("[parts.coil]", "[parts.coil", 11, "not TOML"),
    ('table = "coupled-tank"\n', "", 9, "fixture.table is missing"),
]


@pytest.mark.parametrize(("old", "new", "line", "sentence"), ROWS)
def test_a_mistake_is_refused_with_its_line(refused, old, new, line, sentence):
    """The line, the key, and the nearest one that is known."""
    assert old in GOOD
    error = refused(GOOD.replace(old, new, 1))
    assert error.line == line, str(error)
    assert sentence in str(error)


def test_all_mistakes_are_named_in_the_order_of_their_lines(refused):
    """The sentence tells the first and how many more there are."""
    error = refused(GOOD.replace("title", "titl").replace("resource", "resourc"))
    assert len(error.problems) == 3  # what is misspelt is not missing besides
    lines = [
        int(problem.split(":")[0].removeprefix("line ")) for problem in error.problems
    ]
    assert lines == sorted(lines)
    assert "(and 2 more mistakes)" in str(error)


def test_a_lot_and_a_part_cannot_share_a_slot(refused):
    """Said once, in a sentence."""
    lot = '[lot]\nslot = "coil"\ncount = 2\n'
    lot += '[lot.part]\nkind = "coil"\ninductance_h = 1e-6\n'
    assert "the slot coil is the lot's" in str(refused(GOOD + lot))


@pytest.mark.parametrize(
    ("fault", "sentence"),
    [
        ('instrument = "detector"\nkind = "late"', "one of probability, at_message"),
        ('instrument = "hand"\nkind = "late"\nat_s = 1.0', "'generator' or 'detector'"),
        ('instrument = "detector"\nkind = "slow"\nat_s = 1.0', "'silence'"),
    ],
)
def test_a_fault_that_cannot_be_is_refused(refused, fault, sentence):
    """With the line of its table or its key."""
    error = refused(GOOD + "[[fault]]\n" + fault)
    assert sentence in str(error)
    assert error.line >= 14


def test_a_scene_that_does_not_exist_names_those_that_do():
    """Neither a file nor a bundled name."""
    with pytest.raises(SceneError, match=r"bundled are .*kit-coil") as caught:
        load_scene("kit-kat")
    assert caught.value.line is None


def test_a_fixture_beside_the_scene_is_found(tmp_path):
    """By its file name."""
    fixture = tmp_path / "own.toml"
    fixture.write_text(
        'schema = "halfpower.fixture/1"\ntitle = "t"\ndescription = "d"\n'
        'source_node = "a"\ndetector_node = "a"\n'
        '[[slot]]\nname = "coil"\nnodes = ["a", "ground"]\n'
        '[[element]]\nname = "r"\nnodes = ["a", "ground"]\nresistance_ohm = 50.0\n'
    )
    scene = tmp_path / "scene.toml"
    scene.write_text(GOOD.replace("coupled-tank", "own.toml"))
    assert load_scene(scene).build().truth["fixture.r.resistance_ohm"] == 50.0


def test_a_fixture_whose_nodes_hang_in_the_air_is_refused(tmp_path):
    """The detector's node must be touched by something."""
    path = tmp_path / "own.toml"
    path.write_text(
        'schema = "halfpower.fixture/1"\ntitle = "t"\ndescription = "d"\n'
        'source_node = "a"\ndetector_node = "b"\nslot = []\n'
        '[[element]]\nname = "r"\nnodes = ["a", "ground"]\nresistance_ohm = 50.0\n'
    )
    with pytest.raises(SceneError, match="touches the node b"):
        load_fixture(str(path))


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"a = " + b"[" * 100_000, "nested more than 20 deep"),
        (b"a." * 100_000 + b"b = 1", "nested more than 20 deep"),
        (b"a = " + b"9" * 5000, "thousands of digits"),
        (b"a = 99999999999999999999", "more than 64 bits"),
        (b'a = "\\u0000"', "a control character"),
        ("a = 'µ'".encode("latin-1"), "not UTF-8"),
        (b"#" * 250_001, "larger than 0.25 MB"),
        (GOOD.replace("3.3e-6", "1e-300").encode(), "beyond anything on a bench"),
        (GOOD.replace("192.0.2.10::inst0", "").encode(), "resource"),
    ],
    ids=lambda one: str(one)[:12],
)
def test_what_no_scene_may_hold_is_refused(tmp_path, content, said):
    """Before it takes memory or time, or fails where nobody knows it."""
    path = tmp_path / "scene.toml"
    path.write_bytes(content)
    with pytest.raises(SceneError, match=said):
        load_scene(path)


def test_a_pipe_is_no_scene(tmp_path):
    """It would be waited on."""
    path = tmp_path / "scene.toml"
    os.mkfifo(path)
    with pytest.raises(SceneError, match="a pipe"):
        load_scene(path)


def test_a_draw_that_cannot_be_is_told_of(tmp_path):
    """A spread wider than its value reaches below zero; the seed says when."""
    path = tmp_path / "scene.toml"
    spread = "{nominal = 1e-12, half_width = 1e-9}"
    wide = f"[fixture.elements.stray]\ncapacitance_f = {spread}\n"
    path.write_text(GOOD.replace("[parts.coil]", f"{wide}[parts.coil]"))
    scene = load_scene(path)
    said = []
    for seed in range(20):
        try:
            scene.build(seed=seed)
        except SceneError as error:
            said.append(str(error))
    assert 0 < len(said) < 20  # 50 % each: a miss is one in half a million
    assert all("it cannot be built: " in one for one in said)
