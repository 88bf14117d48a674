"""Invented worlds with a known law, and how well their later finds are foretold."""
