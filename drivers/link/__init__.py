"""Bytes to an instrument and back, whatever the link does in between."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
