"""What the log keeps of a use case, as typed records and plain JSON."""
