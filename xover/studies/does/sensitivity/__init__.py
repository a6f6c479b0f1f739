"""Which part matters: what a small change of each part does to every driver, to the sum and to the load."""
