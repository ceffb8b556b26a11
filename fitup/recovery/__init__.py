"""A way out of trouble in the middle of a stage: certified procedures from where work stopped."""

from fitup.recovery.ways import Rescuer, stopped_at

__all__ = ["Rescuer", "stopped_at"]
