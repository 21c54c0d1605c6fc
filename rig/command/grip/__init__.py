"""Tyre grip: measured by itself, from pushes, and taken together."""
