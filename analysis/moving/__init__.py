"""Springs, bars, dampers and a drift: the moving car, told in loads and balance points."""
