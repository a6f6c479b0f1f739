"""Where to mount the coils: what stray coupling between them does to every driver, to the sum and to the load."""
