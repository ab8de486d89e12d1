"""Fourvane: pitch, yaw and roll demands become four jet-vane deflections and servo pulses."""
