"""What a user gives, read and refused in words; files written whole or not at all."""
