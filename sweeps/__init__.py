"""Decide the next reading, take it, and turn the readings into a result."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
