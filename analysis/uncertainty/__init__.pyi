from .propagation import Deduced as Deduced
from .propagation import MeasuredPair as MeasuredPair
from .propagation import propagate as propagate
from .rows import BoolArray as BoolArray
from .rows import DeducedRows as DeducedRows
from .rows import MeasuredRows as MeasuredRows
from .rows import propagate_rows as propagate_rows
