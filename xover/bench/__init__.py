"""What a person needs at the bench: wiring, build order, readings to expect, papers."""
