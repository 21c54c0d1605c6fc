"""Series of experiments: plans, effects, ladders, a hidden change."""
