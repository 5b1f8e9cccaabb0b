"""Furnaces, sensors, testers, reference blocks and their certificates."""
