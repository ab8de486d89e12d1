"""Flight tables told word by word: what each number is called, what it means, in which unit."""
