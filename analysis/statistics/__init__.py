"""Uncertainty: coverage factors, least squares, Monte Carlo draws, turns per travel as angles."""
