"""What only the servo bench needs on a board; one that flies goes without."""
