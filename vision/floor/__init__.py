"""The floor plane: its fit from markers, and the geometry of looking at it."""
