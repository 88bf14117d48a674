"""From tables to evidence: reading, checking, and the statistics of what was seen."""
