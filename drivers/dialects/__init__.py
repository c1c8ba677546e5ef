"""How each kind of instrument is spoken to, as data, and how a dialect is learnt."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
