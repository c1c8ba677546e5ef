from .notch import Notch as Notch
from .response import LeakyPeak as LeakyPeak
from .response import Peak as Peak
from .response import PeakOnFloor as PeakOnFloor
from .response import Response as Response
