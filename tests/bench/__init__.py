"""What steering costs, measured beside general-purpose solvers on the same demands."""
