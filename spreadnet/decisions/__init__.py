"""What to do with the hours: coverage, ranking and comparison."""
