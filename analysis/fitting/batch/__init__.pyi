from .stored import StoredFits as StoredFits
from .stored import fit_stored as fit_stored
