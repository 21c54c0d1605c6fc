"""Cards and sheets: written, printed, sent and taken."""
