"""The air that a simulated rocket flies through."""
