"""What a result is about: vehicle file, flight tables, version, time, board, rehearsal, verdict."""
