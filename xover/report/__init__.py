"""One page for the bench, from everything that the studies tell."""
