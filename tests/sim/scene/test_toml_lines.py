"""Lines of keys, which the standard library's parser does not tell."""

import tomllib

from halfpower.sim import bundled_scenes, load_scene
from halfpower.sim.scene import line_of

TEXT = '''\
# a comment = 1
title = "not [a] table = 2"
setting = """
inside = 3
[neither]
"""
[one]
a.b = 1
"c d" = { x = 1, y = { z = 2 } }
[[many]]
name = "first"
list = [
  1, # [ not = counted
  2,
]
nested = [
  [1, 2],
]
after = 4
[[many]]
name = "second"
[many.inner]
k = 1
'''


def test_every_kind_of_key_is_found_on_its_line():
    """Dotted, quoted, inline, in arrays of tables, behind multi-line values."""
    expected = {
        ("title",): 2,
        ("setting",): 3,
        ("one",): 7,
        ("one", "a", "b"): 8,
        ("one", "c d"): 9,
        ("one", "c d", "x"): 9,
        ("many", 0): 10,
        ("many", 0, "name"): 11,
        ("many", 0, "list"): 12,
        ("many", 0, "after"): 19,
        ("many", 1): 20,
        ("many", 1, "name"): 21,
        ("many", 1, "inner"): 22,
        ("many", 1, "inner", "k"): 23,
    }
    assert {key: line_of(key, TEXT) for key in expected} == expected


def test_what_is_not_there_is_looked_for_in_the_table_around_it():
    """Up to the whole file, which begins on line 1."""
    assert line_of(("many", 1, "nam"), TEXT) == 20
    assert line_of(("one", "c d", "y", "w"), TEXT) == 9
    assert line_of(("inside",), TEXT) == 1


def test_every_top_level_key_of_the_bundled_scenes_is_found():
    """What the standard parser finds, this one finds a line for."""
    for name in bundled_scenes():
        text = load_scene(name).text
        for table, content in tomllib.loads(text).items():
            keys = [(table, k) for k in content] if isinstance(content, dict) else []
            for path in [(table,), *keys]:
                row = line_of(path, text)
                assert str(path[-1]) in text.splitlines()[row - 1], (name, path)
