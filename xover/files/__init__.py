"""Everything that is read from or written to disk."""
