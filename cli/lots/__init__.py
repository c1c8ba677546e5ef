"""Join a lot's run with the record base, the desk and the display."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
