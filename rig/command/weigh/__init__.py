"""The car on the pads."""
