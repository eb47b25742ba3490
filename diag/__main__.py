"""`python -m diag`."""

from __future__ import annotations

import sys

from diag.cli import main

if __name__ == "__main__":
    sys.exit(main())
