"""Heat in a vane, its strength, and what gives way first."""
