"""The question model made of what the checkout holds."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from companion import sizing
from companion.bench.wordings.learning import (
    learn_filling,
    learn_order,
    learn_phrases,
    learn_subjects,
)
from companion.language.question_model import QuestionModel, slot_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from companion.language.wordings import Wording

    Words = tuple[str, ...]

_TALK = Path(__file__).with_name("talk.txt")
_OF_JOBS, _SEED = 2000, 77  # sentences of a job, generated: readings, commands, answers
_NO_KEY = frozenset(["a", "the", "of", "at", "and", "to", "is", "on", "in", "for", "with", "it"])


def talk() -> tuple[Words, ...]:
    """Return what is no question: talk, and what else is said to the companion at work."""
    from companion.bench.hearing.generated import generated  # noqa: PLC0415 - takes its time

    lines = _TALK.read_text("utf-8").splitlines()
    remarks = tuple(tuple(line.split()) for line in lines if line and not line.startswith("#"))
    of_jobs = (
        case.words
        for case in generated(_OF_JOBS, _SEED, ("flite:slt",))
        if not case.rule.startswith("questions.")
    )
    return remarks + tuple(dict.fromkeys(of_jobs))


def slot_tables(asked: Sequence[Wording]) -> list[tuple[str, list[dict[str, Any]]]]:
    """Return each sizing's inputs as `question_model.slot_of` reads them.

    Args:
        asked: the wordings whose phrases name options.
    """
    phrases = learn_phrases(asked)
    return [
        (slug, [_slot_table(slug, each, declared.inputs, phrases) for each in declared.inputs])
        for slug, declared in sorted(sizing.sizings().items())
    ]


def _slot_table(
    slug: str,
    wanted: sizing.Input,
    others: Sequence[sizing.Input],
    phrases: dict[tuple[str, str, str], list[str]],
) -> dict[str, Any]:
    key = {*wanted.spoken.split(), *wanted.name.split("-")} - _NO_KEY
    options = [
        (
            option.value,
            sorted({option.spoken, *phrases.get((slug, wanted.name, option.value), [])} - {""}),
        )
        for option in wanted.options
    ]
    return {
        "name": wanted.name,
        "key": sorted(key),
        "kind": wanted.kind,
        "ranges": [(valid.low, valid.high, valid.unit) for valid in wanted.ranges],
        "options": options,
        "many": wanted.many,
        "asked": bool(wanted.ask) and not wanted.default and wanted.needed({}),
        "unless": sorted(
            other.name
            for other in others
            if other is not wanted and not wanted.needed({other.name: None})
        ),
    }


def source_digest(asked: Sequence[Wording], slots: Sequence[Any]) -> str:
    """Return a digest of wordings, talk and declarations, by which a model tells what it knew."""
    ink = hashlib.sha256(json.dumps(slots).encode())
    for wording in asked:
        ink.update(repr((wording.sizing, wording.words, wording.marked)).encode())
    ink.update(_TALK.read_bytes())
    return ink.hexdigest()


def made(asked: Sequence[Wording], spoken: Sequence[Words]) -> tuple[QuestionModel, Sequence[Any]]:
    """Return a model, and the slots in the form that `write_model` keeps.

    Args:
        asked: the wordings to learn from.
        spoken: what is no question.
    """
    slots = slot_tables(asked)
    known = {slug: tuple(map(slot_of, inputs)) for slug, inputs in slots}
    subjects = learn_subjects(asked, spoken)
    order = learn_order(wording.words for wording in asked)
    model = QuestionModel(
        subjects=subjects.names,
        features=subjects.features,
        rarity=subjects.rarity,
        weights=subjects.weights,
        filling=learn_filling(asked, known),
        slots=known,
        words=order.words,
        alone=order.alone,
        pairs=order.pairs,
        source=source_digest(asked, slots),
    )
    return model, slots


def write_model(path: Path, model: QuestionModel, slots: Sequence[Any]) -> None:
    """Write a model; its weights are kept in a byte each.

    Args:
        path: the file.
        model: what it holds.
        slots: the sizings' inputs as `slot_of` reads them: pairs of slug and list.
    """
    scale = np.abs(model.weights).max(axis=0) / 127.0 + 1e-9
    used = np.flatnonzero(model.filling)
    with path.open("wb") as file:
        np.savez_compressed(
            file,
            subjects=np.array(model.subjects),
            features=np.array(sorted(model.features, key=lambda name: model.features[name])),
            rarity=model.rarity.astype(np.float16),
            weights=np.round(model.weights / scale).astype(np.int8),
            scale=scale.astype(np.float32),
            filling_at=used.astype(np.int32),
            filling=model.filling[used].astype(np.float16),
            slots=np.array(json.dumps(slots)),
            words=np.array(model.words),
            alone=model.alone.astype(np.int32),
            pairs=model.pairs.astype(np.int16),
            source=np.array(model.source),
        )
