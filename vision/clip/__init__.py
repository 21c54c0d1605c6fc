"""A clip: frames with their true times, overlays, advice while filming."""
