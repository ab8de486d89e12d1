"""What only a test stand needs on a board; one that flies goes without."""
