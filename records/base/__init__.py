"""The record base: every part of every lot with its readings, kept and found again."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
