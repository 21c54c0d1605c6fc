"""The cards' numbers to a forecast pivot and balance point, and the verdict beside a measured one."""
