"""The balance point from a push: where it is, what was seen, what else would fit, and how to aim it."""
