"""Pixels to timed poses: marker layouts and sheets, cameras, tracking, overlays, rendered pushes.

This room opens no serial port and knows no forces.
"""
