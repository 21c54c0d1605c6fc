"""The pad board's line protocol, wiring and firmware: files to read and to build, no code to import."""
