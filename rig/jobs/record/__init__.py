"""Use cases on the log: recalculate, check, experiments shown again, travelling cards."""
