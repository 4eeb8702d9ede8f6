"""What the procedure calls its steps, checks and points, taken from the text that the job keeps."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from companion.errors import CompanionError
from companion.procedures.loader import load
from companion.report.wording import named

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True, slots=True)
class Wordings:
    """Sentences by slug; a slug that the procedure does not know is written as words."""

    steps: Mapping[str, str] = field(default_factory=dict)
    cautions: Mapping[str, str] = field(default_factory=dict)
    holds: Mapping[str, str] = field(default_factory=dict)
    checks: Mapping[tuple[str, str], str] = field(default_factory=dict)
    points: Mapping[str, str] = field(default_factory=dict)

    def step(self, slug: str) -> str:
        """Return what the step says."""
        return self.steps.get(slug) or named(slug)

    def caution(self, slug: str) -> str:
        """Return the caution of a step."""
        return self.cautions.get(slug) or f"The caution of the step '{named(slug)}'"

    def hold(self, slug: str) -> str:
        """Return the title of a step's hold point."""
        return self.holds.get(slug) or named(slug)

    def check(self, step: str, slug: str) -> str:
        """Return what a hold point's check asks."""
        return self.checks.get((step, slug)) or named(slug)

    def point(self, slug: str) -> str:
        """Return what a test point is called."""
        return named(self.points.get(slug) or slug)

    def or_else(self, other: Wordings) -> Wordings:
        """Return these, and another procedure's where these have none."""
        return Wordings(
            steps={**other.steps, **self.steps},
            cautions={**other.cautions, **self.cautions},
            holds={**other.holds, **self.holds},
            checks={**other.checks, **self.checks},
            points={**other.points, **self.points},
        )


def wordings(text: str, where: str) -> Wordings:
    """Return the sentences of a procedure; none where the text is missing or not understood.

    An old job stays readable when the procedure's rules have changed since.

    Args:
        text: the procedure as the job keeps it.
        where: its slug, for the loader's messages.
    """
    try:
        procedure = load(text, where, safety=False)
    except CompanionError:
        return Wordings()
    steps = procedure.steps
    return Wordings(
        steps={step.slug: step.say for step in steps},
        cautions={step.slug: step.caution for step in steps if step.caution},
        holds={step.slug: step.hold.title for step in steps if step.hold},
        checks={(s.slug, c.slug): c.ask for s in steps if s.hold for c in s.hold.checks},
        points={slug: point.names[0] for slug, point in procedure.points.items()},
    )
