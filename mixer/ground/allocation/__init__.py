"""A demand file through the flight core, and the report of it."""
