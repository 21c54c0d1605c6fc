"""The whole job on the virtual bench."""
