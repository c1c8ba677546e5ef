from .drawing import HOOKUPS as HOOKUPS
from .drawing import Kind as Kind
from .drawing import save_hookup as save_hookup
