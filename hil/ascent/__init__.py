"""One flight with everything written down."""
