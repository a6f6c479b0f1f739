"""Start a speaker folder from a ready topology."""
