"""A test stand's log: read, refused, planned, simulated."""
