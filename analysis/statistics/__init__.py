"""Uncertainty: coverage factors, least squares, pooling of repeats, Monte Carlo draws."""
