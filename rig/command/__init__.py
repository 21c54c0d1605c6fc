"""The command line: the twelve commands, a folder each, and what they share."""
