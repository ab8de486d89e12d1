"""The stand-ins of `mixer.flight.words`, and the one for a pointer to bytes."""

from mixer.flight.words import const, ptr32

ptr8 = object  # any sequence of bytes that can be indexed

__all__ = ("const", "ptr8", "ptr32")
