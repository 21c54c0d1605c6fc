"""What runs on by itself on the page: pads, camera and what a racer watches, sent to any number of browsers."""
