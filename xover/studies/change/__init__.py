"""What to do: refresh, redesign, bypass, decide."""
