"""A run shown to people who must not stand near: a page served on this machine alone, read-only."""
