"""A car on its springs: wheel loads, bars, dampers, what lifts and how it answers to acceleration."""
