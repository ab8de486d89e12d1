"""What a static test tells of each vane, how surely, and the corrected vehicle file."""
