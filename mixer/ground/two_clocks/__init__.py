"""What a node played and what a stand logged, each by its own clock, brought onto one."""
