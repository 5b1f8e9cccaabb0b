"""Bringing a logger's files in as a load's record."""
