"""Use cases of the moving car: load transfer, phases, rates, a filmed drive."""
