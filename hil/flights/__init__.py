"""The loop that flies a block, what it demands, and what is kept of it."""
