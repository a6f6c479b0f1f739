"""From an opened speaker to a few truly different proposals, each of parts that exist."""
