"""A bench without hardware: pads, car, finger and camera, with their differences from real ones stated."""
