"""Scales and other talkers of many makes, for the benchmark of strangers."""
