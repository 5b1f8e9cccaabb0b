"""The pure floor: values in, verdict out. Standard library and numpy only."""
