"""Drawings of the car, its pivots and its phases."""
