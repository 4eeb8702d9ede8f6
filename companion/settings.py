"""What this user has chosen, kept between runs: recogniser, headset, whether sound is kept.

One small JSON file, `settings.json` below `$XDG_CONFIG_HOME/companion` (or `~/.config/companion`).
"""

from __future__ import annotations

import json
import os
from contextlib import suppress
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING

from companion.dialogue.manner import Manner, bounded
from companion.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

YES_OR_NO = ("", "yes", "no")
RECOGNISERS = ("bundled", "bundled-original", "vosk")


@dataclass(frozen=True, slots=True)
class Settings:
    """What was chosen; '' is 'as it comes'.

    Attributes:
        recogniser: one of `RECOGNISERS`; 'bundled' has the encoder made for noise.
        vosk_model: the folder of the Vosk model in use.
        microphone: the input device, by its name.
        headphones: the output device, by its name.
        loudness_db: how much louder than the voice is made, decibels, a number.
        pace: on words a minute, a number.
        voice: which of the voices, a whole number.
        cues: 'on' or 'off'.
        keep_sound: 'yes' where the sound of each reading is kept; '' or 'no': it is not.
        loudspeaker: 'yes' where it is heard through one and hears itself; '' or 'no': a headset.
    """

    recogniser: str = "bundled"
    vosk_model: str = ""
    microphone: str = ""
    headphones: str = ""
    loudness_db: str = "0"
    pace: str = "1"
    voice: str = "0"
    cues: str = "on"
    keep_sound: str = ""
    loudspeaker: str = ""

    @property
    def manner(self) -> Manner:
        """How it speaks."""
        found = Manner(
            float(self.loudness_db), float(self.pace), int(self.voice), cues=self.cues != "off"
        )
        return bounded(found)

    def speaking(self, manner: Manner) -> Settings:
        """Return the same settings with another way to speak."""
        return replace(
            self,
            loudness_db=f"{manner.gain_db:g}",
            pace=f"{manner.pace:.3g}",
            voice=str(manner.voice),
            cues="on" if manner.cues else "off",
        )


def settings_path(environment: Mapping[str, str] | None = None) -> Path:
    """Return where the settings are kept.

    Args:
        environment: the program's own unless given.
    """
    environment = os.environ if environment is None else environment
    base = environment.get("XDG_CONFIG_HOME")
    return (Path(base) if base else Path.home() / ".config") / "companion" / "settings.json"


def load_settings(path: Path | None = None) -> Settings:
    """Return what was chosen; the defaults where nothing was.

    Args:
        path: another file than the user's.

    Raises:
        InputError: the file cannot be read, or holds what is no setting.
    """
    path = path or settings_path()
    try:
        found = json.loads(path.read_text("utf-8"))
    except FileNotFoundError:
        return Settings()
    except (OSError, ValueError) as problem:
        raise _unusable(path, f"it cannot be read ({problem})") from problem
    if not isinstance(found, dict):
        raise _unusable(path, "it holds no settings")
    known = {field.name for field in fields(Settings)}
    for key, value in found.items():
        if key not in known:
            raise _unusable(path, f"'{key}' is no setting; there are {', '.join(sorted(known))}")
        if not isinstance(value, str):
            raise _unusable(path, f"'{key}' is {json.dumps(value)}, not a text")
    made = Settings(**found)
    _check(path, made)
    return made


def _check(path: Path, made: Settings) -> None:
    """Refuse what no setting can be."""
    if made.recogniser not in RECOGNISERS:
        raise _unusable(path, f"there is no recogniser '{made.recogniser}'")
    if made.cues not in ("on", "off"):
        raise _unusable(path, f"cues are '{made.cues}', neither on nor off")
    try:
        _ = made.manner
    except ValueError as problem:
        raise _unusable(path, f"loudness, pace or voice is no number ({problem})") from problem
    for name in ("keep_sound", "loudspeaker"):
        if (told := getattr(made, name)) not in YES_OR_NO:
            raise _unusable(path, f"'{name}' is '{told}', not yes or no")


def save_settings(settings: Settings, path: Path | None = None) -> None:
    """Keep the settings, in one go: a crash leaves the old ones or the new ones.

    Args:
        settings: all of them.
        path: another file than the user's.

    Raises:
        InputError: the file cannot be written.
    """
    path = path or settings_path()
    fresh = path.with_name(f"{path.name}.{os.getpid()}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        fresh.write_text(json.dumps(asdict(settings), indent=2) + "\n", "utf-8")
        fresh.replace(path)
    except OSError as problem:
        raise InputError(
            f"The settings cannot be kept: {problem.strerror}",
            "Make the folder writable.",
            where=str(path),
        ) from problem
    finally:
        with suppress(OSError):
            fresh.unlink(missing_ok=True)  # what a full disk left half written


def _unusable(path: Path, why: str) -> InputError:
    return InputError(
        f"The settings cannot be used: {why}", "Mend or remove the file.", where=str(path)
    )
