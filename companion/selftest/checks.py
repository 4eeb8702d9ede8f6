"""All checks of the self-test, in the order in which they are made."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, TypeAlias

from companion.errors import InputError
from companion.selftest.findings import Finding, found
from companion.settings import Settings, load_settings

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

Check: TypeAlias = "Callable[[Asked], Finding]"


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
        finding = found(name, lambda check=check: check(asked))  # type: ignore[misc]
        yield _told_once(finding, told)
        told.setdefault(finding.says, name)


def _told_once(finding: Finding, told: dict[str, str]) -> Finding:
    """Return a finding; one that an earlier line has explained points there."""
    if finding.verdict == "failed" and finding.says in told:
        return replace(finding, says=f"as for {told[finding.says]}", remedy="")
    return finding


def _checks(asked: Asked) -> Iterator[tuple[str, Check]]:
    yield "recogniser", _recogniser
    yield "model files", _model_files
    yield "voice", _voice
    if asked.sound:
        yield "devices", _devices
        yield "microphone", _microphone
        yield "headphones", _headphones
    yield "storage", _storage
    yield "settings", _settings
    yield "versions", _versions


# Each imports what it checks when it is made: what cannot be imported is that check's finding.


def _recogniser(asked: Asked) -> Finding:
    from companion.selftest.engines import recogniser_check  # noqa: PLC0415

    return recogniser_check(asked.settings)


def _model_files(_: Asked) -> Finding:
    from companion.selftest.engines import model_files_check  # noqa: PLC0415

    return model_files_check()


def _voice(_: Asked) -> Finding:
    from companion.selftest.engines import voice_check  # noqa: PLC0415

    return voice_check()


def _devices(asked: Asked) -> Finding:
    from companion.selftest.sound import devices_check  # noqa: PLC0415

    return devices_check(asked.settings)


def _microphone(asked: Asked) -> Finding:
    from companion.selftest.sound import microphone_check  # noqa: PLC0415

    return microphone_check(asked.settings)


def _headphones(asked: Asked) -> Finding:
    from companion.selftest.sound import headphones_check  # noqa: PLC0415

    return headphones_check(asked.settings)


def _storage(asked: Asked) -> Finding:
    from companion.selftest.storage import storage_check  # noqa: PLC0415

    return storage_check(asked.log)


def _settings(_: Asked) -> Finding:
    from companion.selftest.storage import settings_check  # noqa: PLC0415

    return settings_check()


def _versions(_: Asked) -> Finding:
    from companion.selftest.versions import versions_check  # noqa: PLC0415

    return versions_check()
