"""Like-for-like replacements that keep the voicing: what to buy, what may stay, and what it does to the sound."""
