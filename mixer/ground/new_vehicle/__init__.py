"""A vehicle file to begin with, and what is still to be measured in it."""
