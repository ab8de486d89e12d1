"""An invented vehicle and an invented flight, to see everything work on."""
