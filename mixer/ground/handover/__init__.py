"""The hand-over: what lies in the folders, laid as one chain from drawing to the board's bytes."""
