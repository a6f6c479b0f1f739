"""Around the speaker: new, check, values, pad, jig, spice."""
