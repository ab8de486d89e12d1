"""A person at the bench: options, questions, live view, wiggle, zero."""
