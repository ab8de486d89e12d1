"""An independent judge of the steering policy: exact answers, a second route, random cases."""
