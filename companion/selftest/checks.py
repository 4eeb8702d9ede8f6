"""All checks of the self-test, in the order in which they are made."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, TypeAlias

from companion.errors import InputError
from companion.selftest.engines import model_files_check, recogniser_check, voice_check
from companion.selftest.findings import found
from companion.selftest.sound import devices_check, headphones_check, microphone_check
from companion.selftest.storage import settings_check, storage_check
from companion.selftest.versions import versions_check
from companion.settings import Settings, load_settings

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from companion.selftest.findings import Finding

Check: TypeAlias = "tuple[str, Callable[[], Finding]]"


@dataclass(frozen=True, slots=True)
class Asked:
    """What is to be checked.

    Attributes:
        log: the job log.
        sound: whether devices, microphone and headphones are checked too.
        settings: what the user has chosen.
    """

    log: Path
    sound: bool
    settings: Settings


def asked_for(log: Path, *, sound: bool) -> Asked:
    """Return what to check; settings that cannot be read are a finding of their own, later."""
    try:
        settings = load_settings()
    except InputError:
        settings = Settings()
    return Asked(log, sound, settings)


def findings(asked: Asked) -> Iterator[Finding]:
    """Make the checks one after the other; yield what each finds once it is made."""
    told: dict[str, str] = {}
    for name, check in _checks(asked):
        finding = found(name, check)
        yield _told_once(finding, told)
        told.setdefault(finding.says, name)


def _told_once(finding: Finding, told: dict[str, str]) -> Finding:
    """Return a finding; one that an earlier line has explained points there."""
    if finding.verdict == "failed" and finding.says in told:
        return replace(finding, says=f"as for {told[finding.says]}", remedy="")
    return finding


def _checks(asked: Asked) -> Iterator[Check]:
    settings = asked.settings
    yield "recogniser", partial(recogniser_check, settings)
    yield "model files", model_files_check
    yield "voice", voice_check
    if asked.sound:
        yield "devices", partial(devices_check, settings)
        yield "microphone", partial(microphone_check, settings)
        yield "headphones", partial(headphones_check, settings)
    yield "storage", partial(storage_check, asked.log)
    yield "settings", settings_check
    yield "versions", versions_check
