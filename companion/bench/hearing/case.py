"""What the parts of the hearing benchmark hand to one another: moments and cases."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from companion.dialogue.session import Session
    from companion.dialogue.state import Job
    from companion.ports import Expectation, Scope


@dataclass(frozen=True, slots=True)
class Moment:
    """A moment of a job at which something may be said, with all that is live then.

    Attributes:
        name: what it is called in a corpus ('read-supply-static', 'standing-by').
        job: the job as it stands.
        session: what the dialogue remembers beside it.
        scope: what may be said.
        expect: the reading that is awaited, if one is.
    """

    name: str
    job: Job
    session: Session
    scope: Scope
    expect: Expectation | None


@dataclass(frozen=True, slots=True)
class Case:
    """One utterance of a corpus.

    Attributes:
        id: its own, the same in every run ('generated-0007-flite_slt').
        corpus: 'generated', 'own', 'remarks', 'readings', 'words', 'not-for-me' or 'yours'.
        moment: the name of the moment at which it is said.
        words: what is said, in word form ('supply', 'static', 'point', 'four', 'five').
        addressed: False where nothing at all may come of it.
        speaker: who says it: a synthetic speaker's name ('flite:slt'), or a person's.
        path: a recording of it, or None where the synthetic speaker is to say it.
        rule: the grammar rule that it belongs to, '' where it belongs to none.
        means: what it means, as `labels.label` puts it, for words that the grammar may not know;
            '' where the words' own meaning at the moment is the right one.
        breaths: after how many words a breath is taken, rising; none where it is said in one.
        round: 0, or which hearing of the same talk this is; then the id ends in it.
        gain_db: how much louder it is than its noise is reckoned for; -12 is across the room.
    """

    id: str
    corpus: str
    moment: str
    words: tuple[str, ...]
    addressed: bool
    speaker: str
    path: Path | None = None
    rule: str = ""
    means: str = ""
    breaths: tuple[int, ...] = ()
    round: int = 0
    gain_db: float = 0.0

    @property
    def spoken(self) -> str:
        """What the manner of saying it hangs on: the same in every round."""
        return self.id.removesuffix(f"-round{self.round}")

    @property
    def synthesis(self) -> str:
        """The synthesis engine ('flite'), or 'people' for a recording."""
        return self.speaker.partition(":")[0] if self.path is None else "people"
