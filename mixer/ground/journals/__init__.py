"""Journals: records line by line, each safe on the disk before the next one is made."""
