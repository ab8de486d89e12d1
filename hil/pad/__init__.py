"""The control check on the pad: run from the flight computer's end of the line, and kept."""
