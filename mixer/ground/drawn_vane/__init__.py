"""From a drawing and a jet to force, drag and hinge moment."""
