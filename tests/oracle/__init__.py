"""A second, slow and exact judge, written from the judging rules alone, and its comparisons."""
