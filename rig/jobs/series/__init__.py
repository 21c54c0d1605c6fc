"""Use cases of several pushes: sweep, plan, effects, ladder, inference."""
