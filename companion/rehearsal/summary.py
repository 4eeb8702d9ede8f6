"""What a rehearsal came to: counted from what was said, heard and logged, told as it is."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from statistics import median
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Sequence

    from companion.rehearsal.technician import Line
    from companion.rehearsal.wire import Heard


@dataclass(slots=True)
class Summary:
    """Counts and figures of one rehearsal.

    A reading 'taken wrong' was logged with another value or test point than was said, without
    being asked about; 'standing wrong' is one that still stood at the end.
    """

    speaker: str
    snr_db: float | None
    seed: int
    completed: bool = False
    problem: str = ""
    steps: int = 0
    readings_said: int = 0
    readings_right: int = 0
    readings_asked: int = 0
    readings_taken_wrong: int = 0
    readings_missed: int = 0
    standing_expected: int = 0
    standing_right: int = 0
    standing_wrong: list[str] = field(default_factory=list)
    questions: int = 0
    cautions: int = 0
    holds: int = 0
    utterances: int = 0
    misheard: int = 0
    unanswered: int = 0
    asked_again: int = 0
    asked_between: int = 0
    remarks: int = 0
    remarks_answered: int = 0
    kills: int = 0
    resumed: int = 0
    sound_s: float = 0.0
    cpu_s: float = 0.0
    peak_memory_mb: float = 0.0
    responses_s: list[float] = field(default_factory=list)
    parts_s: dict[str, list[float]] = field(default_factory=dict)
    shown: list[str] = field(default_factory=list)
    real_time: bool = False

    def count_utterance(self, line: Line, heard: Sequence[Heard]) -> None:
        """Count what came of one thing said; `heard` is what the companion took it for."""
        if line.kind == "remark":
            self.remarks += 1
            self.remarks_answered += any(not each.ignored for each in heard)
            return
        self.utterances += 1
        answered = [each for each in heard if not each.ignored]
        self.unanswered += not answered
        self.asked_again += any(each.asked_again for each in heard)
        if line.reads:
            self._count_reading(line.reads, heard)

    def _count_reading(self, reads: tuple[str, str], heard: Sequence[Heard]) -> None:
        self.readings_said += 1
        logged = [
            payload
            for each in heard
            for kind, payload in each.drafts
            if kind in ("reading", "correction")
        ]
        if any(each.asked_again for each in heard):
            self.readings_asked += 1
        elif not logged:
            self.readings_missed += 1
        elif all(is_same(reads, payload["point"], payload["value"]) for payload in logged):
            self.readings_right += 1
        else:
            self.readings_taken_wrong += 1

    def count_answer(self, heard: Heard) -> None:
        """Count an answer's time."""
        if heard.response_s:
            self.responses_s.append(heard.response_s)
            for part, seconds in heard.parts_s.items():
                self.parts_s.setdefault(part, []).append(seconds)

    def compare(self, expected: Sequence[tuple[str, str]], log: Sequence[tuple[str, str]]) -> None:
        """Compare the readings that stand on the log with the script's, in order."""
        self.standing_expected = len(expected)
        rest = list(log)
        for point, value in expected:
            found = next((r for r in rest if is_same((point, value), *r)), None)
            if found is None:
                self.standing_wrong.append(f"missing: {point} {value}")
            else:
                rest.remove(found)
                self.standing_right += 1
        self.standing_wrong += [f"not said: {point} {value}" for point, value in rest]

    @property
    def real_time_factor(self) -> float:
        """Processor time for a second of sound."""
        return self.cpu_s / self.sound_s if self.sound_s else 0.0

    def as_json(self) -> dict[str, Any]:
        """Return everything as plain data."""
        names = [name for name in self.__slots__ if name not in ("responses_s", "parts_s")]
        data = {name: getattr(self, name) for name in names}
        data["response_median_s"] = _quantile(self.responses_s, 0.5)
        data["response_95_s"] = _quantile(self.responses_s, 0.95)
        data["parts_median_s"] = {p: _quantile(v, 0.5) for p, v in self.parts_s.items()}
        data["real_time_factor"] = round(self.real_time_factor, 3)
        return data

    def as_text(self) -> str:
        """Return the summary for a screen."""
        how = "completed" if self.completed else f"NOT completed: {self.problem}"
        paced = "in real time" if self.real_time else "as sound time plus processing"
        parts = ", ".join(f"{p} {_quantile(v, 0.5) * 1000:.0f}" for p, v in self.parts_s.items())
        noise = "quiet" if self.snr_db is None else f"hum at {self.snr_db:g} dB"
        wrong = f"; {'; '.join(self.standing_wrong)}" if self.standing_wrong else ""
        median_ms = _quantile(self.responses_s, 0.5) * 1000
        late_ms = _quantile(self.responses_s, 0.95) * 1000
        return f"""\
Rehearsal {how} ({self.speaker}, {noise}, seed {self.seed})
  steps {self.steps}, hold points {self.holds}, cautions {self.cautions}, \
questions {self.questions}
  readings said {self.readings_said}: right at once {self.readings_right}, \
asked about {self.readings_asked}, not heard {self.readings_missed}, \
taken wrong {self.readings_taken_wrong}
  on the log at the end: {self.standing_right} of {self.standing_expected} right{wrong}
  utterances {self.utterances}: misheard {self.misheard}, asked again {self.asked_again}, \
asked between {self.asked_between}, unanswered {self.unanswered}
  remarks not for it {self.remarks}, answered {self.remarks_answered}; \
killed {self.kills}, resumed {self.resumed}
  response {paced}: median {median_ms:.0f} ms, 95 % {late_ms:.0f} ms (medians in ms: {parts})
  {self.sound_s:.0f} s of sound, {self.real_time_factor:.2f} of a core, \
peak memory {self.peak_memory_mb:.0f} MB"""


def is_same(reads: tuple[str, str], point: str, value: str) -> bool:
    """Return whether a logged value is what was said, whatever its trailing zeros."""
    if reads[0] != point:
        return False
    try:
        return Decimal(reads[1]) == Decimal(value)
    except InvalidOperation:
        return reads[1] == value


def _quantile(values: Sequence[float], share: float) -> float:
    """Return a quantile, 0 where there is nothing."""
    if not values:
        return 0.0
    if share == 0.5:  # noqa: PLR2004 - the median has a name
        return median(values)
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]
