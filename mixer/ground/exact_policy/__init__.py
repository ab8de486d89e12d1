"""The steering policy in exact geometry: what the flight core is judged by."""
