"""What people see: the one page, the one picture style, the terminal."""
