"""Which values that exist come near to the one that is wanted: alone, or two together."""
