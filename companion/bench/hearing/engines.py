"""The engines that the hearing benchmark knows, each a `Recogniser`."""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.errors import InputError
from companion.loop import recogniser_for
from companion.settings import Settings, load_settings

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from companion.language.compose import Language
    from companion.ports import Grammar, Recogniser

OURS = ("bundled", "bundled-original", "vosk")
PEERS = ("pocketsphinx", "whisper")


def known(name: str) -> str:
    """Return an engine's name.

    Raises:
        InputError: there is none of that name.
    """
    if name not in OURS + PEERS:
        raise InputError(f"No engine '{name}'", f"Engines: {', '.join(OURS + PEERS)}.")
    return name


def engine(
    name: str,
    language_of: Callable[[Grammar], Language],
    sentences: Sequence[tuple[str, ...]] = (),
) -> Recogniser:
    """Return an engine, loaded.

    Args:
        name: one of `OURS` or `PEERS`; 'vosk' takes the model that the user's settings name.
        language_of: gives the language that a grammar belongs to (for 'whisper').
        sentences: the corpus's own (for 'whisper').

    Raises:
        InputError: there is none of that name.
        EngineError: it is not installed, or its model is missing.
    """
    match known(name):
        case "pocketsphinx":
            from companion.bench.hearing.pocketsphinx_peer import (  # noqa: PLC0415 - peers are extra
                PocketSphinxPeer,
            )

            return PocketSphinxPeer()
        case "whisper":
            from companion.bench.hearing.whisper_peer import WhisperPeer  # noqa: PLC0415

            return WhisperPeer(language_of, sentences)
        case _:
            vosk_model = load_settings().vosk_model if name == "vosk" else ""
            return recogniser_for(Settings(recogniser=name, vosk_model=vosk_model))
