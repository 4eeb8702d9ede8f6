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
    choices: Mapping[str, str] = field(default_factory=dict)
    options: Mapping[tuple[str, str], str] = field(default_factory=dict)
    customer: Mapping[str, str] = field(default_factory=dict)  # what the customer must know
    service_months: Mapping[str, int] = field(default_factory=dict)
    labels: frozenset[str] = frozenset()  # steps that place labels
    line_voltage: frozenset[str] = frozenset()
    bases: frozenset[str] = frozenset()  # points that limits are taken from: plates and labels

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

    def choice(self, slug: str) -> str:
        """Return what a choice asks."""
        return self.choices.get(slug) or named(slug)

    def option(self, choice: str, slug: str) -> str:
        """Return an answer as it is said."""
        return self.options.get((choice, slug)) or named(slug)

    def or_else(self, other: Wordings) -> Wordings:
        """Return these, and another procedure's where these have none."""
        return Wordings(
            steps={**other.steps, **self.steps},
            cautions={**other.cautions, **self.cautions},
            holds={**other.holds, **self.holds},
            checks={**other.checks, **self.checks},
            points={**other.points, **self.points},
            choices={**other.choices, **self.choices},
            options={**other.options, **self.options},
            customer={**other.customer, **self.customer},
            service_months={**other.service_months, **self.service_months},
            labels=self.labels | other.labels,
            line_voltage=self.line_voltage | other.line_voltage,
            bases=self.bases | other.bases,
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
    choices = [step.choice for step in steps if step.choice]
    return Wordings(
        steps={step.slug: step.say for step in steps},
        cautions={step.slug: step.caution for step in steps if step.caution},
        holds={step.slug: step.hold.title for step in steps if step.hold},
        checks={(s.slug, c.slug): c.ask for s in steps if s.hold for c in s.hold.checks},
        points={slug: point.names[0] for slug, point in procedure.points.items()},
        choices={each.slug: each.ask for each in choices},
        options={(c.slug, o.slug): named(o.names[0]) for c in choices for o in c.options},
        customer={step.slug: step.customer for step in steps if step.customer},
        service_months={s.slug: s.service_months for s in steps if s.service_months},
        labels=frozenset(step.slug for step in steps if step.labels),
        line_voltage=frozenset(step.slug for step in steps if step.line_voltage),
        bases=frozenset(
            base
            for step in steps
            for request in step.readings
            if request.limit
            for base in (request.limit.low_of, request.limit.high_of)
            if base
        ),
    )
