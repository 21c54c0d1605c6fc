"""The bench from Python: the functions behind the commands, for notebooks and other programs."""
