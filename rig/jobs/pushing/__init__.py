"""Use cases around a push: filmed, answered, forecast, set beside each other, drawn."""
