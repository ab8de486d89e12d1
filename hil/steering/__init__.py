"""Who steers a block of flights: the flight core here, on a board, or the rival."""
