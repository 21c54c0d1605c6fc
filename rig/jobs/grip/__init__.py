"""Use cases of tyre grip: tilt, pull, combine."""
