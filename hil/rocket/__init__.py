"""The simulated rocket."""
