"""Every number becomes an integer, and what it must be for that."""
