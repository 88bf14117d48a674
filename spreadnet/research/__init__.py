"""For those who study movement itself: other laws, fits to a table of trips, fit indices."""
