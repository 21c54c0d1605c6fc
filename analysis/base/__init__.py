"""The ground floor: array types, the four wheels, standard gravity, errors, rigid motion in the plane, a pivot."""
