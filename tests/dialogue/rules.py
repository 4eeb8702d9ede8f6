"""The safety rules, checked on a log alone: written from DESIGN.md section 5, not from the code.

`Rules` takes the entries of a job turn by turn and raises an AssertionError that names the rule
that was broken. It keeps its own small picture of the job, so that a fault of the dialogue's fold
cannot hide here.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from companion.procedures import is_deferred, load, next_step
from companion.procedures.walking import first_step

if TYPE_CHECKING:
    from collections.abc import Iterable

    from companion.ports import Entry
    from companion.procedures.model import Procedure, Step

# A note that a cry for help ended is kept once that was answered.
IN_EMERGENCY = {"emergency", "all-clear", "asked-again", "caution-given", "resumed", "note"}
AFTER_THE_END = {"emergency", "all-clear", "asked-again", "caution-given"}
ON_THE_WAY_OUT = {
    "step-entered",
    "step-done",
    "step-skipped",
    "choice",
    "hold-met",
    "hold-opened",
    "called-off",
}


@dataclass
class Measured:
    """A reading as its entries leave it."""

    step: str
    point: str
    verdict: str
    confirmed: bool
    struck: bool = False


@dataclass
class OpenHold:
    """A hold point since it was last opened."""

    since: int
    checks: set[str] = field(default_factory=set)
    met: bool = False


@dataclass
class Rules:
    """Walks the log of one job."""

    procedure: Procedure
    step: str = ""
    answers: dict[str, str] = field(default_factory=dict)
    readings: dict[int, Measured] = field(default_factory=dict)
    holds: dict[str, OpenHold] = field(default_factory=dict)
    cautions: set[str] = field(default_factory=set)
    dead: bool = False
    emergency: bool = False
    leaving: bool = False
    ended: bool = False
    half_done: bool = False  # work begun that needs dead, and first power not met since
    home: Rules | None = None  # the job as it was when a fault began to be looked for

    def turn(self, entries: Iterable[Entry]) -> None:
        """Check one turn's entries, then where they leave the job."""
        for entry in entries:
            self._allow(entry.kind, entry.payload)
            getattr(self, "_" + entry.kind.replace("-", "_"), self._else)(entry.payload)
        if not (self.leaving or self.ended):
            self._no_open_hold_is_behind()

    def _find(self, slug: str) -> Step:
        return next(step for step in self.procedure.steps if step.slug == slug)

    def _allow(self, kind: str, said: Any) -> None:  # noqa: ANN401 - JSON
        if self.emergency:
            assert kind in IN_EMERGENCY, f"{kind} while an emergency was on"
        if self.leaving:
            assert kind not in ON_THE_WAY_OUT, f"{kind} {said} after the job was called off"
        if self.ended:
            assert kind in AFTER_THE_END, f"{kind} after the job had ended"

    def _else(self, said: Any) -> None:  # noqa: ANN401 - JSON
        pass

    # ------------------------------------------------------------ one rule a kind of entry

    def _step_entered(self, said: Any) -> None:  # noqa: ANN401 - JSON
        self.step = said["step"]
        self.half_done |= self._find(self.step).needs_dead
        if self._find(self.step).power:  # any work with power on
            self.dead = False

    def _step_done(self, said: Any) -> None:  # noqa: ANN401 - JSON
        step = self._find(said["step"])
        assert said["step"] == self.step, f"{said['step']} was done while {self.step} was open"
        if step.caution:
            assert step.slug in self.cautions, f"{step.slug} was done, its caution not heard out"
        if step.needs_dead:
            assert self.dead, f"{step.slug} was done, not proved dead"
        if step.line_voltage:
            assert self.answers.get("licensed") == "yes", f"{step.slug} was done by the unlicensed"
        if step.hold:
            assert self.holds[step.slug].met, f"hold {step.slug} was passed, not met"

    def _step_skipped(self, said: Any) -> None:  # noqa: ANN401 - JSON
        step = self._find(said["step"])
        assert not step.hold or self.holds[step.slug].met, f"hold {step.slug} was skipped"
        assert said["reason"]
        if step.choice:
            assert step.choice.slug in self.answers, f"{step.slug} was skipped, its choice open"
        if step.line_voltage:
            assert "licensed" in self.answers, f"{step.slug} was skipped, the licence unknown"

    def _choice(self, said: Any) -> None:  # noqa: ANN401 - JSON
        self.answers[said["choice"]] = said["option"]

    def _choice_withdrawn(self, said: Any) -> None:  # noqa: ANN401 - JSON
        """What a hold point asked for under another answer counts for nothing."""
        self.answers.pop(said["choice"], None)
        for slug, hold in self.holds.items():
            step = self._find(slug)
            checks = step.hold.checks if step.hold else ()
            conditions = [request.when for request in step.readings]
            conditions += [check.when for check in checks]
            named = {name for when in conditions for name, _ in when.answers}
            if said["choice"] in named:
                hold.since, hold.checks, hold.met = len(self.readings), set(), False
                self.dead &= not self._proves_dead(slug)

    def _caution_given(self, said: Any) -> None:  # noqa: ANN401 - JSON
        self.cautions.add(said["step"])

    def _reading(self, said: Any) -> None:  # noqa: ANN401 - JSON
        self.readings[said["id"]] = Measured(
            said["step"], said["point"], said["verdict"], said["confirmed"]
        )

    def _correction(self, said: Any) -> None:  # noqa: ANN401 - JSON
        old = self.readings[said["of"]]
        old.verdict, old.confirmed = said["verdict"], said["confirmed"]
        self._withdrawn(said["of"])

    def _struck(self, said: Any) -> None:  # noqa: ANN401 - JSON
        self.readings[said["of"]].struck = True
        self._withdrawn(said["of"])

    def _withdrawn(self, number: int) -> None:
        """A reading that met a hold point changes: the hold is not met any more."""
        hold = self.holds.get(self.readings[number].step)
        if hold and hold.met and number > hold.since:
            hold.met = False
            if self._proves_dead(self.readings[number].step):
                self.dead = False

    def _reading_confirmed(self, said: Any) -> None:  # noqa: ANN401 - JSON
        self.readings[said["of"]].confirmed = True

    def _resumed(self, _: Any) -> None:  # noqa: ANN401 - JSON
        self._lose_dead()

    def _emergency(self, _: Any) -> None:  # noqa: ANN401 - JSON
        self.emergency = True
        self._lose_dead()

    def _all_clear(self, _: Any) -> None:  # noqa: ANN401 - JSON
        self.emergency = False

    def _called_off(self, _: Any) -> None:  # noqa: ANN401 - JSON
        self.leaving = True

    def _left_safe(self, said: Any) -> None:  # noqa: ANN401 - JSON
        assert self.leaving
        assert said["told"]
        self.leaving, self.ended = False, True

    def _finished(self, _: Any) -> None:  # noqa: ANN401 - JSON
        assert self._find(self.step).ends == "finished", f"finished at {self.step}"
        assert not self.half_done, "finished with work begun, and no first power since"
        self.ended = True

    # ------------------------------------------------------------ a fault that is looked for

    def _fault_begun(self, said: Any) -> None:  # noqa: ANN401 - JSON
        assert self.home is None, "a fault was looked for within another"
        assert not self.dead, "a fault was looked for while locked out"
        assert not self.half_done, "a fault was looked for with work half done"
        self.home = replace(self)
        self.procedure = load(said["text"], said["procedure"], safety=False)
        self.step, self.holds, self.cautions = "", {}, set()
        self.answers = {k: v for k, v in self.answers.items() if k in ("licensed", "region")}

    def _fault_ended(self, said: Any) -> None:  # noqa: ANN401 - JSON
        home = self.home
        assert home is not None
        opened_up = any(self._proves_dead(slug) for slug in self.holds)
        assert said["how"] == "finished" or not opened_up, "left with the power off"
        if said["how"] == "finished":
            assert self._find(self.step).ends == "finished", f"ended at {self.step}"
            assert not self.half_done, "a search ended with work begun, and no first power since"
        known = {k: v for k, v in self.answers.items() if k in ("licensed", "region")}
        self.procedure, self.step, self.holds = home.procedure, home.step, home.holds
        self.answers, self.cautions = {**home.answers, **known}, home.cautions
        self.dead, self.home = False, None

    # ------------------------------------------------------------ hold points

    def _proves_dead(self, slug: str) -> bool:
        hold = self._find(slug).hold
        return hold is not None and hold.proves == "dead"

    def _lose_dead(self) -> None:
        """The lock may be gone: what was proved, or half proved, counts for nothing."""
        self.dead = False
        for slug, hold in self.holds.items():
            if self._proves_dead(slug):
                hold.since, hold.checks = len(self.readings), set()

    def _hold_opened(self, said: Any) -> None:  # noqa: ANN401 - JSON
        self.holds[said["step"]] = OpenHold(since=len(self.readings))
        if self._proves_dead(said["step"]):
            self.dead = False

    def _hold_check(self, said: Any) -> None:  # noqa: ANN401 - JSON
        if said["answer"] == "yes":
            self.holds[said["step"]].checks.add(said["check"])

    def _hold_met(self, said: Any) -> None:  # noqa: ANN401 - JSON
        step, hold = self._find(said["step"]), self.holds[said["step"]]
        assert step.hold
        if step.line_voltage:
            assert self.answers.get("licensed") == "yes", f"{step.slug} met by the unlicensed"
        for check in step.hold.checks:
            if check.when.holds(self.answers):
                assert check.slug in hold.checks, f"{step.slug} met without its check {check.slug}"
        self._readings_in_order(step, hold)
        hold.met = True
        self.half_done &= step.hold.number != "H5"
        self.dead |= step.hold.proves == "dead"

    def _readings_in_order(self, step: Step, hold: OpenHold) -> None:
        since = [
            reading
            for number, reading in sorted(self.readings.items())
            if number > hold.since and reading.step == step.slug and not reading.struck
        ]
        assert all(reading.confirmed for reading in since), (
            f"{step.slug} met on unconfirmed readings"
        )
        within = iter(reading for reading in since if reading.verdict != "outside")
        for request in step.readings:
            if request.when.holds(self.answers):
                found = any(reading.point == request.point for reading in within)
                assert found, f"{step.slug} met without {request.point}, or out of order"
        if step.hold and step.hold.proves == "dead":
            if step.readings:
                assert len(since) >= 3, f"{step.slug} met without live, dead, live"
            outside = [reading.point for reading in since if reading.verdict == "outside"]
            assert not outside, f"{step.slug} met though {outside} was live since it was opened"

    def _no_open_hold_is_behind(self) -> None:
        """Every hold point on the way to where the job stands was met.

        The proof of dead may be asked for again from anywhere; it leads back to where it was.
        """
        if self._proves_dead(self.step):
            return
        step, way = first_step(self.procedure, self.answers), []
        while step and step.slug != self.step:
            way.append(step)
            step = next_step(self.procedure, step.slug, self.answers)
        if step is None:
            return  # a choice is being asked again: the way is open before it
        for each in way:
            if each.hold and not is_deferred(each, self.answers):
                hold = self.holds.get(each.slug)
                is_met = hold is not None and hold.met
                assert is_met, f"{each.slug} is an open hold, yet {self.step} was reached"
