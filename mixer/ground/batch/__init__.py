"""Many demands and many steerings at once, by the compiled flight core."""
