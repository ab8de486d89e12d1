"""A test day: a programme played through the node, and a stand that is not there."""
