"""Many clips at once: what is to be measured, on which processes or machines, into one log."""
