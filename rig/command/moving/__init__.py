"""The moving car: phases, what its springs are, a filmed drive."""
