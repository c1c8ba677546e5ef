"""The circuit's arithmetic: from f0 and Q to the part, for one and for many."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
