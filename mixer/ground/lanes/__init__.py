"""Rows side by side in vector registers: kernels as LLVM vectors, a row in each lane."""

LANES = 16  # rows side by side: words of theirs fill one of the widest vector registers
