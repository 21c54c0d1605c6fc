"""Use cases around a push: film, measure, forecast, compare."""
