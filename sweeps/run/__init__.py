"""Carry a plan out on a bench: guard, set, wait, read, tell, hand on."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
