"""A clip measured: tracked, its pushes found, what finger and shutter did to them, all written down."""
