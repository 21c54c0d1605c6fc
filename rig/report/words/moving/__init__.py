"""The moving car in words: what a set-up does, its story, tilted pads and a frozen moment."""
