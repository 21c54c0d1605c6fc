"""A whole push: the car's slide under the finger followed from first touch to release, step by step."""
