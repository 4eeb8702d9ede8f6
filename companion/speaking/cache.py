"""Keeping what is said often, so that it starts without being rendered again."""

from __future__ import annotations

import contextlib
import hashlib
import os
import tempfile
import wave
from collections import OrderedDict
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from companion.ports import Clip

if TYPE_CHECKING:
    from companion.ports import Voice

DEFAULT_LIMIT = 256  # sentences; about 100 kB each


class CachedVoice:
    """A voice that remembers the last sentences it rendered, and on disk if told where.

    Args:
        voice: what renders.
        limit: how many clips to keep in memory, at least 1; the one unused longest goes first.
        folder: where to keep clips between runs; '' of names, only digests. None: nowhere.
    """

    def __init__(
        self, voice: Voice, limit: int = DEFAULT_LIMIT, folder: Path | None = None
    ) -> None:
        self._voice = voice
        self._limit = max(1, limit)
        self._folder = folder
        self._clips: OrderedDict[str, Clip] = OrderedDict()
        self._identity = str(getattr(voice, "identity", type(voice).__name__))

    def render(self, text: str) -> Clip:
        """Return the text as speech, from memory or disk where it is there."""
        clip = self._clips.get(text)
        if clip is None:
            clip = self._stored(text)
        if clip is None:
            clip = self._voice.render(text)
            self._store(text, clip)
        self._clips[text] = clip
        self._clips.move_to_end(text)
        while len(self._clips) > self._limit:
            self._clips.popitem(last=False)
        return clip

    def paced(self, factor: float) -> CachedVoice:
        """Return the same voice at another pace, where it has one; its clips are kept apart.

        Args:
            factor: on words a minute.
        """
        paced = getattr(self._voice, "paced", None)
        return CachedVoice(paced(factor), self._limit, self._folder) if paced else self

    def _path(self, text: str) -> Path | None:
        if self._folder is None:
            return None
        digest = hashlib.sha256(f"{self._identity}\n{text}".encode()).hexdigest()
        return self._folder / f"{digest}.wav"

    def _stored(self, text: str) -> Clip | None:
        """Return the clip on disk; None where there is none or it is damaged."""
        path = self._path(text)
        if path is None:
            return None
        try:
            with wave.open(str(path), "rb") as file:
                sound = np.frombuffer(file.readframes(file.getnframes()), "<i2")
                if len(sound) != file.getnframes():
                    return None
                return Clip(sound.astype(np.int16), file.getframerate(), text)
        except (OSError, EOFError, ValueError, wave.Error):
            return None

    def _store(self, text: str, clip: Clip) -> None:
        """Write the clip beside its place and move it there; a full disk only costs time."""
        path = self._path(text)
        if path is None:
            return
        with contextlib.suppress(OSError):
            path.parent.mkdir(parents=True, exist_ok=True)
            handle, name = tempfile.mkstemp(dir=path.parent, suffix=".part")
            try:
                with os.fdopen(handle, "wb") as raw, wave.open(raw, "wb") as file:
                    file.setnchannels(1)
                    file.setsampwidth(2)
                    file.setframerate(clip.rate_hz)
                    file.writeframes(clip.samples.astype("<i2").tobytes())
                Path(name).replace(path)
            except OSError:
                Path(name).unlink(missing_ok=True)
