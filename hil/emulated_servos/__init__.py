"""Servos with linkage and encoder, healthy and faulty."""
