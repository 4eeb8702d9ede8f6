"""What a check found: one line each, with what to do; no check stops another."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias

from companion.errors import CompanionError, EngineError, StoreError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

Verdict: TypeAlias = Literal["ok", "warning", "failed"]

STORAGE = frozenset({"storage", "settings"})  # what exit code 5 is for
_VERDICT_WIDTH = 8
_NAME_WIDTH = 12


@dataclass(frozen=True, slots=True)
class Finding:
    """What a check found.

    Attributes:
        name: what was checked ('voice').
        verdict: 'ok', 'warning' (works, but) or 'failed'.
        says: what was seen, with figures; no full stop at its end.
        remedy: what to do, full sentences; '' where nothing is to be done.
    """

    name: str
    verdict: Verdict
    says: str
    remedy: str = ""

    def line(self) -> str:
        """Return it as the one line that a user sees."""
        end = "" if self.says.endswith(("?", ".")) else "."
        told = " ".join(f"{self.says}{end} {self.remedy}".split())
        return f"{self.verdict:<{_VERDICT_WIDTH}} {self.name:<{_NAME_WIDTH}} {told}"

    def as_json(self) -> dict[str, str]:
        """Return it as plain data."""
        return asdict(self)


def found(name: str, check: Callable[[], Finding]) -> Finding:
    """Return what a check finds; what it raises is a finding too.

    Args:
        name: what is checked.
        check: does it.
    """
    try:
        return check()
    except CompanionError as problem:
        where = f"{problem.where}: " if problem.where else ""
        return Finding(name, "failed", f"{where}{problem.problem}", problem.remedy)
    except Exception as problem:  # noqa: BLE001 - whatever one check meets, the others are made
        kind = type(problem).__name__
        return Finding(
            name,
            "failed",
            f"unexpected {kind}: {problem}",
            "This is a fault of the program: please report this line.",
        )


def exit_code(findings: Iterable[Finding]) -> int:
    """Return what the command ends with.

    0: nothing failed, warnings or not. 4: a model, a voice, a device or a package failed. 5: only
    the storage failed (the job log's folder, the log itself, the settings).
    """
    failed = {finding.name for finding in findings if finding.verdict == "failed"}
    if not failed:
        return 0
    return StoreError.exit_code if failed <= STORAGE else EngineError.exit_code


def as_json(findings: Iterable[Finding]) -> dict[str, object]:
    """Return all of them as one object: the worst verdict, the exit code, each finding."""
    kept = list(findings)
    verdicts = {finding.verdict for finding in kept}
    worst = next((each for each in ("failed", "warning") if each in verdicts), "ok")
    return {
        "verdict": worst,
        "exit_code": exit_code(kept),
        "findings": [finding.as_json() for finding in kept],
    }
