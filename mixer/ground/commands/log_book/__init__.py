"""Commands of the module's log book: the file to begin with, and the hand-over at the end."""
