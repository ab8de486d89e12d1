"""From a sweep to a servo table, with the figures of ISO 230-2 and IEC 61298-2."""
