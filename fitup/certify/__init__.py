"""The second, plain recomputation of a plan, which shares no code with the optimiser."""

from fitup.certify.check import certify
from fitup.certify.confirm import confirm
from fitup.certify.facts import Certificate, PrintedNumber

__all__ = ["Certificate", "PrintedNumber", "certify", "confirm"]
