"""Numbers to knowledge: loads, grip, planar motion, the pivot measured and predicted, set-ups compared.

Pure functions on arrays. This room touches no device, clock, video or terminal.
"""
