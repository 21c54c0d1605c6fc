"""Cameras, and what a clip tells of lens, floor sheets and marker plate."""
