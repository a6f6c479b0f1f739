"""xover: what the passive network of an old loudspeaker does, and what to do about it."""

__version__ = "0.1.0"
