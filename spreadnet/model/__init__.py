"""Movement, carriage, network and spread: pure functions over arrays."""
