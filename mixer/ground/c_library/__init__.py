"""The flight core as a C99 library for one vehicle; imports what builds tables, and the kernels."""
