"""The bench log: every weighing, push, prediction and comparison, written before it is shown."""
