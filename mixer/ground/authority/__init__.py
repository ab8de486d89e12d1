"""Moments within reach, over the burn, against [requirements] and [uncertainty]."""
