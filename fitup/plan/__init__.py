"""Choose the moves: objectives in order, alternatives, sensitivity, what stands in the way."""

from fitup.plan.plan import make_plan

__all__ = ["make_plan"]
