"""The engine of a simulated rocket: its burn, its thrust, and what goes wrong with it."""
