"""What is heard while it speaks through a loudspeaker: its own voice, mostly.

There only being silenced, and a cry for help, is heard, held to the lines of standing by; nothing
that it is just saying itself is ever taken for either ("I smell gas? Yes or no."). Whatever else is
heard then is its own voice: no talk, nothing to ask about, nothing that a cue is for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.dialogue.events import Hush
from companion.dialogue.judging import Accept, Likelihood, judge, thresholds
from companion.language.meanings import Choice, Emergency
from companion.ports import ChoiceVocabulary, Scope

if TYPE_CHECKING:
    from companion.dialogue.events import Heard
    from companion.dialogue.outcome import Turn
    from companion.language.meanings import Candidate

_QUIET = Choice("over voice", "quiet")
OVER_VOICE = Scope(
    "over voice",
    commands=False,
    questions=False,
    choice=ChoiceVocabulary("over voice", (("quiet", ("quiet", "be quiet", "stop talking")),)),
)


def heard_over_voice(turn: Turn, event: Heard) -> Candidate | None:
    """Return the cry for help that was heard over its own voice; 'quiet' is obeyed here.

    Args:
        turn: the turn.
        event: with what it was saying (`Heard.own_words`).
    """
    own = f" {' '.join(event.own_words or ())} "
    foreign = tuple(each for each in event.candidates if f" {' '.join(each.words)} " not in own)
    limits = thresholds(calibrated=event.hearing.is_calibrated).asleep()
    judged = judge(foreign, lambda _: Likelihood.EXPECTED, limits)
    if not isinstance(judged, Accept):
        return None
    if isinstance(judged.candidate.meaning, Emergency):
        return judged.candidate
    if judged.candidate.meaning == _QUIET:
        turn.acts.append(Hush())
    return None
