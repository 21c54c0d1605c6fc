"""The bench on the page: pads, camera, cards and jobs, as plain JSON."""
