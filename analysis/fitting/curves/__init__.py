"""The shapes that a resonance shows to a detector, with their derivatives."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
