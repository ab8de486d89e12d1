"""What goes wrong in a flight: kinds, their text, their effects."""
