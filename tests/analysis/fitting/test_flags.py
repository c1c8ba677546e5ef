"""Flags: each has a code of its own and a sentence."""

import pytest

from halfpower.analysis.fitting import Flag


@pytest.mark.parametrize("flag", list(Flag))
def test_every_flag_has_a_sentence(flag: Flag) -> None:
    """No code without words."""
    assert len(flag.text) > 20
    assert flag.code == flag.code.lower()


def test_no_two_flags_share_a_sentence() -> None:
    """A person can tell them apart."""
    assert len({flag.text for flag in Flag}) == len(Flag)
