"""What a user types, what each command does, and what is told on the screen."""

from spreadnet.cli.entry import main

__all__ = ["main"]
