"""How the property tests run: no deadline for one example, since a loaded machine is no fault of the code."""

from hypothesis import settings

settings.register_profile("no deadline", deadline=None)
settings.load_profile("no deadline")
