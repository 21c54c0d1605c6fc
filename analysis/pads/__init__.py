"""The pads by themselves: calibration, faults, zero, counts at rest and their loads, each with its uncertainty.

Modules, in the order of a weighing: `calibration` (with `error_budget` and `local_gravity`), `pad_faults`, `settled`
(with `unrest`), `zero_tracking`, `loads`.
"""
