"""The car on the pads: loads to corner weights, cross weight and the centre of gravity, each with its uncertainty.

Modules, in the order of a weighing: `reseating`, `orientations`, `corner_weights`, `parts`, `cross_weight` (with `warp`
and `collar_loop`), `cg_height`.
"""
