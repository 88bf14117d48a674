"""The same answers from compiled loops, with the extra `fast`."""
