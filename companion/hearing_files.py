"""What is made of recordings: for `companion hear`."""

from __future__ import annotations

from dataclasses import asdict, is_dataclass
from typing import TYPE_CHECKING, Any

from companion.audio.sound_files import FileEar
from companion.dialogue.judging import Accept, AskBetween, Likelihood, judge
from companion.dialogue.scopes import named_scopes
from companion.language.compose import compose
from companion.listening import Listened, Overlong, Utterance
from companion.loop import recogniser_for, sound_listener
from companion.settings import load_settings

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping
    from pathlib import Path

    from companion.language.meanings import Candidate
    from companion.procedures.model import Procedure


def heard_in(scope: str, procedure: Procedure) -> Callable[[Path], dict[str, Any]]:
    """Return a function that hears a file in a scope and tells what it made of it.

    Raises:
        ModelError: the recogniser's files are missing or altered.
    """
    language = compose(named_scopes(procedure)[scope])
    recogniser = recogniser_for(load_settings())

    def hear(path: Path) -> dict[str, Any]:
        ear = FileEar([path])
        listener = sound_listener(language, recogniser)
        found: list[dict[str, Any]] = []
        for frame in ear.frames():
            found.extend(_told(listener.feed(frame)))
        found.extend(_told(listener.flush()))
        return {"file": str(path), "scope": scope, "utterances": found}

    return hear


def _told(happened: Iterable[Listened]) -> Iterator[dict[str, Any]]:
    for listened in happened:
        if isinstance(listened, Overlong):
            yield {"judged": "too long", "at_s": round(listened.at_s, 2)}
        elif isinstance(listened, Utterance):
            yield _utterance(listened)


def _utterance(utterance: Utterance) -> dict[str, Any]:
    hearing = utterance.hearing
    candidates = utterance.language.candidates(hearing)
    return {
        "start_s": round(hearing.start_s, 2),
        "end_s": round(hearing.end_s, 2),
        "sentence": " ".join(hearing.words),
        "meaning": _meaning(candidates[0]) if candidates else None,
        "match": round(hearing.match, 3),
        "judged": _judged(candidates),
        "alternatives": [
            {
                "sentence": " ".join(each.words),
                "match": round(each.match, 3),
                "log_prob": round(each.log_prob, 3),
            }
            for each in hearing.alternatives[1:]
        ],
        "freely": hearing.free,
        "noise_dbfs": None if hearing.noise_dbfs is None else round(hearing.noise_dbfs, 1),
        "snr_db": None if hearing.snr_db is None else round(hearing.snr_db, 1),
    }


def _judged(candidates: tuple[Candidate, ...]) -> str:
    """Return what would be done with it, the plausible range of a job apart."""
    judgement = judge(candidates, lambda _: Likelihood.EXPECTED)
    if isinstance(judgement, Accept):
        return "accepted"
    if isinstance(judgement, AskBetween):
        return f"asked between, or: {' '.join(judgement.second.words)}"
    return {"AskAgain": "say again", "Ignore": "not for me"}[type(judgement).__name__]


def _meaning(candidate: Candidate) -> dict[str, Any]:
    """Return a meaning as plain data: its kind and what it holds."""
    meaning = candidate.meaning
    return {"kind": type(meaning).__name__.lower(), **_plain(asdict(meaning))}


def _plain(value: Any) -> Any:  # noqa: ANN401 - walks any data
    if isinstance(value, dict):
        return {key: _plain(each) for key, each in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(each) for each in value]
    if is_dataclass(value) and not isinstance(value, type):
        return _plain(asdict(value))
    return value if value is None or isinstance(value, bool) else str(value)


def hearing_lines(found: Mapping[str, Any]) -> str:
    """Return what was heard in a file as text for a screen."""
    lines = [found["file"]]
    for each in found["utterances"]:
        if "sentence" not in each:
            lines.append(f"  {each['at_s']:7.2f} s  (too long for a command)")
            continue
        words = each["sentence"] or "(nothing in this scope)"
        lines.append(
            f"  {each['start_s']:7.2f} s  {words}  [match {each['match']:.2f}, {each['judged']}]"
        )
    if not found["utterances"]:
        lines.append("  (no speech)")
    return "\n".join(lines)
