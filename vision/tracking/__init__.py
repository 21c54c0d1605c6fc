"""Sightings of markers to poses of the car with their noise, checks and the finger."""
