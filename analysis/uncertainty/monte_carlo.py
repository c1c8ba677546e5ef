"""Propagation of distributions (JCGM 101:2008, clause 7): deduce from drawn values."""

from collections.abc import Mapping

import numpy as np

from .record import Inputs, Number, Record
from .sensitivity import Deduction

__all__ = ["DRAWS", "SEED", "drawn_results"]

DRAWS = 100_000  # JCGM 101, 7.2.2: the 95 % limits then repeat to about 1 % of u
SEED = 101  # the same readings give the same interval, to the last digit


def drawn_results(deduction: Deduction[Record], record: Record) -> Mapping[str, Number]:
    """Run a deduction of a single part on every draw of its inputs.

    Returns
    -------
    mapping
        The results by name, shape (DRAWS,); a number where nothing drawn is in one.

    Notes
    -----
    What was measured together is drawn first, then what was stated, in the record's
    order: a field that changes its place changes the draws.
    """
    rng, inputs = np.random.default_rng(SEED), Inputs(record)
    for joint in inputs.joints:
        drawn = joint.draw(rng, size=DRAWS)
        for leaf, index in inputs.members(joint):
            leaf.put(drawn[index])
    for leaf, stated in inputs.stated():
        of_it = stated.draw(
            rng, size=DRAWS
        )  # what is exact takes its turn all the same
        leaf.put(of_it if stated.u else stated.value)
    with np.errstate(all="ignore"):  # what is not finite is refused by its name
        return deduction(inputs.record)
