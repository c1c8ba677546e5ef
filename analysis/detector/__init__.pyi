from .law import DetectorLaw as DetectorLaw
from .linearity import LinearityFit as LinearityFit
from .linearity import fit_law as fit_law
