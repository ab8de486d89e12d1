"""The vehicle file: one file for each of its tables, and the whole."""
