from .abscissa import Abscissa as Abscissa
from .notch import Notch as Notch
from .response import LeakyPeak as LeakyPeak
from .response import Peak as Peak
from .response import PeakOnFloor as PeakOnFloor
from .response import Response as Response
from .two_peaks import OtherPeak as OtherPeak
from .two_peaks import TwoPeaks as TwoPeaks
