"""The load-cell pads: found, calibrated, zeroed, watched."""
