"""Records that still grow, row by row."""
