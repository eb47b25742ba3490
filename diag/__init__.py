"""Rule-based fault diagnosis for the seed path of vacuum row-crop planters."""

__version__ = "0.1.0"

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
"""Tables here are small: a second thread of the linear algebra only spins beside the first."""
