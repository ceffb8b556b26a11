"""fitup: bring deck segments to their final geometry, and prove it before anyone moves a jack."""

__version__ = "0.1.0"
