"""A number that took far longer than its words is talk that was taken for it.

"Sit, stay, good boy" matched "sixty" by 0.96: the letters came near, the time did not. Where all
that would be logged is a number by itself, its length is looked at too.

A sentence takes some 0.075 s a letter and 0.28 s at its ends (measured on 250 sentences by ten
synthetic voices and on one human speaker's readings). Of the bare numbers of 800 sentences that
were rightly taken, quiet to 5 dB, the slowest took 1.6 times that; a remark of four words that is
taken for one takes more than twice.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.language.meanings import Correction, Reading, Value

if TYPE_CHECKING:
    from companion.language.meanings import Candidate
    from companion.ports import Hearing

_S_A_LETTER = 0.075
_ENDS_S = 0.28
_MOST_TIMES = 2.0
_FEW_WORDS = 2  # of more, careful people say one after the other, with pauses; talk is none of them


def is_drawn_out(hearing: Hearing, candidate: Candidate) -> bool:
    """Return whether a value of one or two words took more than twice the time that these take.

    Args:
        hearing: tells how long it was, from its first to its last sound, seconds.
        candidate: what it may mean; only what may be logged as a value is held to its length.
    """
    is_value = isinstance(candidate.meaning, Reading | Correction | Value)
    if not is_value or len(candidate.words) > _FEW_WORDS:
        return False
    usual_s = _ENDS_S + _S_A_LETTER * sum(map(len, candidate.words))
    return hearing.end_s - hearing.start_s + _ENDS_S > _MOST_TIMES * usual_s
