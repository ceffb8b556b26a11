"""``python -m fitup`` is the same as ``fitup``."""

from fitup.cli import main

main()
