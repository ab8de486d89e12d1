"""The commands of the test side."""
