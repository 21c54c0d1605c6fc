"""A clip to a track: markers followed, poses fitted, checks, cut-out pictures and the finger."""
