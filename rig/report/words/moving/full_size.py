"""What carries over from a scale car to a full-size one, and what does not. No advice for driving either."""

FULL_SIZE = (
    "Carries over, at the same accelerations in g, from a model built to scale: shares of load and of grip, the "
    "balance point in per cent of the wheelbase, load moved per g as a share of the weight, the acceleration in g at "
    "which a wheel lifts, and the direction of every change. They are ratios of lengths and of rates, and gravity is "
    "the same for both.",
    "Does not carry over: times and frequencies (a tenth of the length swings √10 = 3.2 times as quickly at the same "
    "shares of deflection), forces (a thousandth), tyres (their grip, its fall with load and their sideways give are "
    "those of rubber, tread and floor, not of scale), damping, friction in joints (a larger part of a small car), air.",
    "Models are seldom to scale: their springs are stiffer and their tyres wider than a thousandth and a tenth would "
    "say. Compare ratios, wheel rate times track squared over weight times height, before comparing cars.",
    "Sources: elementary statics for the shares; similarity at equal gravity (Froude), where times go with the root of "
    "lengths and forces with their cube: tables of similitude (read), textbooks (from memory). Nothing here is advice "
    "for driving a full-size car.",
)
