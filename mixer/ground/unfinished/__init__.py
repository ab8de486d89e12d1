"""What of a vehicle file is still to be measured: how each value is got, and the marks."""
