"""How well it spells what was held back: the letters to be put right, in a hundred said."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rapidfuzz.distance import Levenshtein

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from companion.bench.speller.states import Example, States
    from companion.hearing.speller import Speller

NOISY_BELOW_DB = 10.0
Rates = dict[str, "Rate"]


@dataclass(frozen=True, slots=True)
class Rate:
    """Letters to be put right.

    Attributes:
        wrong: letters put in, left out or taken for another (Levenshtein's distance).
        said: letters said, with the spaces.
        sounds: of how many sounds.
    """

    wrong: int = 0
    said: int = 0
    sounds: int = 0

    @property
    def percent(self) -> float:
        """In a hundred said."""
        return 100 * self.wrong / max(1, self.said)

    def with_sound(self, spelled: str, text: str) -> Rate:
        """Return the rate with one more sound, spelled so, in which the text was said."""
        wrong = self.wrong + Levenshtein.distance(spelled, text)
        return Rate(wrong, self.said + len(text), self.sounds + 1)


def letter_errors(speller: Speller, states: States, examples: Sequence[Example]) -> Rates:
    """Return how it spells each kind, 'grammar' and 'grammar, below 10 dB' apart.

    Args:
        speller: the product's own, with the weights to be measured.
        states: where the sounds' states lie.
        examples: what was held back.
    """
    rates: Rates = {}
    for example in examples:
        noisy = f", below {NOISY_BELOW_DB:.0f} dB" if example.snr_db < NOISY_BELOW_DB else ""
        cell = example.kind + noisy
        spelled = speller.hear(states.of(example)).text
        rates[cell] = rates.get(cell, Rate()).with_sound(spelled, example.text)
    return dict(sorted(rates.items()))


def table(rates: Mapping[str, Rate]) -> str:
    """Return the rates as a table to print."""
    lines = [f"{'held back':24} {'sounds':>6} {'letters':>7} {'wrong %':>7}"]
    for cell, rate in rates.items():
        lines.append(f"{cell:24} {rate.sounds:6} {rate.said:7} {rate.percent:7.1f}")
    return "\n".join(lines)
