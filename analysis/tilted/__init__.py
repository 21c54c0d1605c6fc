"""Pads on a tilted board: what the moving car's load transfer is, measured standing still."""
