"""A number with its unit and its doubt: as said, as written, as listed."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
