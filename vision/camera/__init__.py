"""The camera: its model, its calibration from a board, its rolling shutter."""
