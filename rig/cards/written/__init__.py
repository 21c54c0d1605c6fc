"""Cards as they are written: the short ones of a new bench, answers put onto them, the list of all keys."""
