"""Hypothesis tries the same cases at every run, so that a red run can be run again.

Search wider with --hypothesis-profile=wide.
"""

from hypothesis import settings

settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("wide", deadline=None, max_examples=1000)
settings.load_profile("steady")
