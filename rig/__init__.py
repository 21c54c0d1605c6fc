"""The bench: pads, cards, log, virtual bench, the use cases that join everything, and the two front ends."""
