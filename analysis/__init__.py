"""Numbers in, numbers out: fit, deduce, correct, propagate."""
