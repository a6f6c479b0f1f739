"""What it bears: stress, lamps, tolerance, crosstalk."""
