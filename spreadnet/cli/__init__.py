"""
What a user types, what each command does, and what is told on the screen.

`entry` is where a process begins and ends: signals, errors, exit codes. `options` holds the words
of the command line, `commands` what each does, `screen` what is printed. Nothing heavy is loaded
before a command needs it.
"""

from spreadnet.cli.entry import main

__all__ = [
    "main",
]
