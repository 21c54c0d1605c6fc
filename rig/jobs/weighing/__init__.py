"""Use cases on the pads: calibrate, zero, weigh, lift, cross weight, live."""
