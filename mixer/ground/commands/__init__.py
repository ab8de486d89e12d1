"""The commands of the ground side: click and terminal only."""
