"""The balance point from pushes: where it is, what was seen, whether a change moved it, and what else would fit."""
