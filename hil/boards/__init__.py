"""A board to talk to: emulated, unix, real; its prompt, its files, its firmware."""
