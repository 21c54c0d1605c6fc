"""What the log holds of these cards: found by who they are and what they say, and read back with what it rests on."""
