"""Synthetic clips of a pushed car."""
