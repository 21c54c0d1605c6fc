"""Tyre grip: bench tests, inference backwards from pushes, and the next push that tells most."""
