"""Rule-based fault diagnosis for the seed path of vacuum row-crop planters."""

__version__ = "0.1.0"
