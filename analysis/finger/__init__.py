"""The finger that pushes: where it touched the car, how hard it pressed, and what it pushed while the car slid."""
