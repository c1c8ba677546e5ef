"""Talk to instruments: turn settings into bytes and replies into readings."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
