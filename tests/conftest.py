"""No test is timed: with hypothesis' deadline, a busy machine would be a failure."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")
