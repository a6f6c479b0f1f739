"""Protection lamps and resettable fuses: when they bite, what they do to the sound, and what taking them out does."""
