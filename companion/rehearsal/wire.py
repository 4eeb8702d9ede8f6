"""What passes between the room and the companion's own process in a rehearsal.

The room sends frames and nothing else. The companion sends back what a person in the room could
hear of it (`Said`, `Cut`), and, for the printed conversation and the summary only, what it heard
and what it cost (`Heard`, `Cost`).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, TypeAlias

if TYPE_CHECKING:
    from companion.ports import Samples


@dataclass(frozen=True, slots=True, eq=False)
class Said:
    """A clip that the companion plays from `start_s` on; '' of text is a cue."""

    number: int
    text: str
    start_s: float
    samples: Samples
    rate_hz: int


@dataclass(frozen=True, slots=True)
class Cut:
    """A clip was cut at `at_s`."""

    number: int
    at_s: float


@dataclass(frozen=True, slots=True)
class Heard:
    """An utterance as the companion took it; times from the start of the stream, seconds.

    `drafts` are the entries that it led to, as (kind, payload).
    """

    start_s: float
    end_s: float
    words: str
    match: float
    freely: str
    asked_again: bool
    ignored: bool
    response_s: float
    parts_s: dict[str, float]
    drafts: list[tuple[str, dict[str, Any]]] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Logged:
    """Entries that became durable in a turn that was not an utterance."""

    drafts: list[tuple[str, dict[str, Any]]]


@dataclass(frozen=True, slots=True)
class Cost:
    """What the companion's process has used so far."""

    cpu_s: float
    peak_memory_mb: float


@dataclass(frozen=True, slots=True)
class Ended:
    """The job has ended."""

    how: str


Note: TypeAlias = Said | Cut | Heard | Logged | Cost | Ended
