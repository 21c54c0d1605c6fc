"""Typed records: for every kind in the log its inputs, its result and its version, and the one codec."""
