"""A push: filmed, measured, forecast, judged."""
