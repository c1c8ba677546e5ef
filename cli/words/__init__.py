"""Options, questions, tables and endings: what all commands say alike."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
