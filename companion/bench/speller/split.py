"""What weights may be learnt from or fitted to, and what is kept from them to be measured on.

The rules hang on digests alone, so they are the same in every run: whatever weights a training
starts from, they never saw what this one is measured on.
"""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from companion.bench.hearing.case import Case

# Corpora of people that are shared out; 'readings' are kept for figures, 'yours' is yours.
_SHARED_OUT = frozenset({"words", "not-for-me"})
# One reader gave most of the talk, and of some the name is unknown: those go by recording.
_BY_RECORDING = frozenset({"kathleen", ""})
_ONE_IN = 30  # texts that are held back


def is_for_training(case: Case) -> bool:
    """Return whether a case is a recording of a person that the speller learnt from.

    Half of the speakers of single words and talk are, by a digest of the name; of 'kathleen' and
    the nameless half of the recordings. What is False here, the speller never heard: all readings,
    all of a user's own, and whatever a synthetic voice says (its sentences are made anew).

    Args:
        case: of any corpus of the hearing benchmark.
    """
    if case.path is None or case.corpus not in _SHARED_OUT:
        return False
    return _number(case.id if case.speaker in _BY_RECORDING else case.speaker) % 2 == 0


def is_for_fitting(case: Case) -> bool:
    """Return whether the weights that `calibration` finds may hang on a case.

    Of people, on whom the speller learnt from; of the remarks, on every second text, whoever says
    it. Which generated sentences, the seed tells; what is written by hand is only measured on.

    Args:
        case: of any corpus of the hearing benchmark.
    """
    if case.corpus == "remarks":
        return _number(f"remark: {' '.join(case.words)}") % 2 == 0
    return case.corpus == "generated" or is_for_training(case)


def is_held_back(text: str) -> bool:
    """Return whether a text is never trained on, whoever says it: one in thirty.

    Args:
        text: words with a space between.
    """
    return _number(f"held back: {text}") % _ONE_IN == 0


def _number(key: str) -> int:
    return int.from_bytes(hashlib.sha256(key.encode()).digest(), "big")
