"""The page's server: routes, guard, what is sent out and taken in."""
