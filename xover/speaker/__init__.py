"""A speaker folder, opened."""

from xover.speaker.speaker import PhaseSource, Speaker, SpeakerDriver, open_speaker

__all__ = ["PhaseSource", "Speaker", "SpeakerDriver", "open_speaker"]
