"""A speaker folder, opened."""

from xover.speaker.driver import PhaseSource, SpeakerDriver
from xover.speaker.opening import open_speaker
from xover.speaker.speaker import Speaker

__all__ = ["PhaseSource", "Speaker", "SpeakerDriver", "open_speaker"]
