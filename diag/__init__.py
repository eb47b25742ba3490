"""Rule-based fault diagnosis for the seed path of vacuum row-crop planters."""

__version__ = "0.1.0"

import os

# Tables here are small: a second thread of the linear algebra only spins beside the first and doubles the work.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
