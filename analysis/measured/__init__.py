"""A track of poses to measured pushes: rests, slides, the pivot and its interval."""
