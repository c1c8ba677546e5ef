"""A bench that obeys circuit theory, behind VISA.

``load_scene("kit-coil").build(seed=1)`` sets up a generator, a detector and a
fixture with parts in it; ``open_visa(bench)`` gives a VISA resource manager in the
same process, ``serve(bench)`` the same instruments over TCP. The bench keeps its
own time, and ``bench.truth`` says what a measurement ought to find.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
