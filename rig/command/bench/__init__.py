"""The page in a browser."""
