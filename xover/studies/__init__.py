"""The questions that a person asks, one module each."""
