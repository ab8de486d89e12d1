"""How vanes burn away: inspections, recession, and what it does to them."""
