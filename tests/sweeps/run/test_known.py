"""What nobody stated, in words."""

import pytest

from halfpower.sweeps.run import assumed_loss


@pytest.mark.parametrize("whose", ["resonating capacitor's", "known capacitors'"])
def test_a_loss_that_was_assumed_is_said_of_one_or_of_several(whose: str) -> None:
    """Its owner's apostrophe is written once."""
    said = assumed_loss(whose).text
    assert said.startswith(f"the {whose} dissipation factor was taken as between 0 and")
