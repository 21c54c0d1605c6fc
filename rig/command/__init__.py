"""One module a command: read the input, call one use case, show the result."""
