"""From a bench's records to figures, verdicts, reports, and into the vehicle file."""
