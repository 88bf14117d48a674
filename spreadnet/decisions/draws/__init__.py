"""One run of the model, and many of them on draws of all that is uncertain."""
