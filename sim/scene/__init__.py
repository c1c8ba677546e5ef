"""What a scene file may say, checked, with every mistake named by its line."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
