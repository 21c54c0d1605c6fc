"""The bench page: a local web page on which the whole job can be done and shown; it holds no computation."""
