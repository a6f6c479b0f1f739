"""Leave, refresh, redesign or bypass, side by side from the same data."""
