"""Around the speaker: new, sweep, record, jig, response, check, values, pad, spice."""
