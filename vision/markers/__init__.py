"""Markers: layouts, printable sheets, detection and edges."""
