"""What may stand on the cards, a module a card: keys with their units, ranges, defaults and meaning.

Every value `x` may have a standard uncertainty `x_u` beside it, in the same unit. These files are the only place that
knows a key: reading, the commented templates and the page's editor are all made from them.
"""
