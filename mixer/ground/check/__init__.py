"""The promises, and the search for a flight that breaks one."""
