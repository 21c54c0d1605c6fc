"""The story on the virtual bench."""
