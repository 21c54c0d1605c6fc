"""All numbers of weighing: pads' counts to loads, corner weights and the centre of gravity, each with its doubt.

Modules, in the order of a weighing: `calibration`, `pad_faults`, `settled`, `zero_tracking`, `loads`, `reseating`,
`orientations`, `corner_weights`, `parts`, `cross_weight` (with `stiffness` and `builder_loop`), `cg_height`.
"""
