"""Result folders that are whole or not there."""
