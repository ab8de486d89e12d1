"""The record of a flight: what a steering was told, kept, read, and run through the core again."""
