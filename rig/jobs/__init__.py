"""The use cases that join the rooms; both front ends call these and compute nothing themselves."""
