"""Pushes too quick for sliding alone: where inertia counts."""
