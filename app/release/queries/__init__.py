"""What is read for decisions on panels."""
