"""What `speller.json` tells: how the weights beside it were made, and how well they spell."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any

from companion.bench.speller.states import ENCODER
from companion.bench.speller.voices import VOICES
from companion.errors import InputError
from companion.hearing.model_files import catalogue

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from companion.bench.speller.measuring import Rates
    from companion.bench.speller.states import Example, States

STATES_A_SECOND = 41.7  # of the encoder: 24 ms each


@dataclass
class Report:
    """A training as it goes.

    Attributes:
        seed: which sentences, sounds and first weights.
        sentences: how many the synthetic voices were to say.
        epochs_wanted: how often all sounds were to be learnt from.
        started_from: the digest of the weights it began with, '' for fresh ones.
        losses: one an epoch that ended, nats a letter.
        rates: how it spells what was held back, after the last of them.
    """

    seed: int
    sentences: int
    epochs_wanted: int
    started_from: str = ""
    sounds: dict[str, int] = field(default_factory=dict)
    held_back: dict[str, int] = field(default_factory=dict)
    left_out: dict[str, int] = field(default_factory=dict)
    hours: float = 0.0
    losses: list[float] = field(default_factory=list)
    rates: Rates = field(default_factory=dict)

    def count(self, states: States, learnt: Sequence[Example], held: Sequence[Example]) -> None:
        """Take down what it learns from, and what it does not."""
        self.sounds = dict(sorted(Counter(each.kind for each in learnt).items()))
        self.held_back = dict(sorted(Counter(each.kind for each in held).items()))
        self.left_out = dict(sorted(states.left_out.items()))
        self.hours = sum(each.count for each in learnt) / STATES_A_SECOND / 3600

    def as_json(self, weights: Path) -> dict[str, Any]:
        """Return all of it, with the size and digest that the catalogue of models wants."""
        return {
            "seed": self.seed,
            "sentences": self.sentences,
            "voices": list(dict.fromkeys(VOICES)),
            "encoder_sha256": catalogue()[ENCODER].sha256,
            "started_from_sha256": self.started_from,
            "sounds": self.sounds,
            "hours": round(self.hours, 2),
            "held_back": self.held_back,
            "left_out": self.left_out,
            "epochs": len(self.losses),
            "epochs_wanted": self.epochs_wanted,
            "losses": [round(loss, 4) for loss in self.losses],
            "letter_errors": {
                cell: {**asdict(rate), "percent": round(rate.percent, 2)}
                for cell, rate in self.rates.items()
            },
            "size_bytes": weights.stat().st_size,
            "sha256": digest(weights),
        }

    def write(self, weights: Path) -> None:
        """Write it beside the weights.

        Raises:
            InputError: it cannot be written.
        """
        path = weights.with_suffix(".json")
        try:
            path.write_text(json.dumps(self.as_json(weights), indent=2) + "\n", "utf-8")
        except OSError as exc:
            raise InputError(
                f"'{path}' cannot be written", "Free some room, or name another folder with --out."
            ) from exc


def digest(path: Path) -> str:
    """Return a file's sha256."""
    return hashlib.sha256(path.read_bytes()).hexdigest()
