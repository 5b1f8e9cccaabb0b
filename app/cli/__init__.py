"""The `temperbook` command: one file for each of its parts."""

from app.cli.command import main

__all__ = ["main"]
