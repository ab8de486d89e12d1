"""The flight computer's end of the line, and the node in this process."""
