"""Acceptance tables and cycles: revisions, and their verification by a second person."""
