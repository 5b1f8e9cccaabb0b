"""Temperbook: the quality record for artificially aged aluminium panels."""
