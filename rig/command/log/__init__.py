"""What is recorded: listed, told, passed on, checked, computed again."""
