"""A finding is one line; no check stops another; what failed decides the exit code."""

from __future__ import annotations

import json

import pytest

from companion.errors import DeviceError, StoreError
from companion.selftest.findings import Finding, as_json, exit_code, found


def test_a_finding_is_one_aligned_line() -> None:
    fine = Finding("voice", "ok", "2.1 s of speech")
    asking = Finding("headphones", "ok", "did you hear them?")
    bad = Finding("microphone", "failed", "it is\nmuted", "Unmute it.")
    assert fine.line() == "ok       voice        2.1 s of speech."
    assert asking.line() == "ok       headphones   did you hear them?"
    assert bad.line() == "failed   microphone   it is muted. Unmute it."


def test_an_error_of_ours_is_a_finding_with_its_remedy() -> None:
    def check() -> Finding:
        raise DeviceError("No microphone", "Plug one in.", where="card 0")

    assert found("devices", check) == Finding(
        "devices", "failed", "card 0: No microphone", "Plug one in."
    )


def test_anything_unexpected_is_named_and_asked_to_be_reported() -> None:
    finding = found("storage", lambda: 1 // 0)  # type: ignore[arg-type, return-value]
    assert finding.verdict == "failed"
    assert "ZeroDivisionError" in finding.says
    assert "report" in finding.remedy
    assert "\n" not in finding.line()


@pytest.mark.parametrize("beyond", [KeyboardInterrupt, SystemExit])
def test_stopping_is_no_finding(beyond: type[BaseException]) -> None:
    def check() -> Finding:
        raise beyond

    with pytest.raises(beyond):
        found("voice", check)


# Expected codes: README's table of exit codes; 4 engines and devices, 5 the log.
@pytest.mark.parametrize(
    ("failed", "code"),
    [
        ([], 0),
        (["storage"], 5),
        (["settings"], 5),
        (["storage", "settings"], 5),
        (["voice"], 4),
        (["devices", "storage"], 4),
        (["versions"], 4),
    ],
)
def test_what_failed_decides_the_exit_code(failed: list[str], code: int) -> None:
    fine = [Finding("headphones", "ok", "heard"), Finding("microphone", "warning", "loud")]
    assert exit_code([*fine, *(Finding(name, "failed", "gone") for name in failed)]) == code


def test_a_store_that_fails_is_a_storage_finding() -> None:
    def check() -> Finding:
        raise StoreError("Full", "Free some.")

    assert exit_code([found("storage", check)]) == StoreError.exit_code


def test_json_is_one_object_with_the_worst_verdict() -> None:
    told = as_json(
        [Finding("voice", "ok", "speaks"), Finding("storage", "failed", "full", "Free.")]
    )
    assert json.loads(json.dumps(told)) == {
        "verdict": "failed",
        "exit_code": 5,
        "findings": [
            {"name": "voice", "verdict": "ok", "says": "speaks", "remedy": ""},
            {"name": "storage", "verdict": "failed", "says": "full", "remedy": "Free."},
        ],
    }
    assert as_json([Finding("voice", "warning", "slow")])["verdict"] == "warning"
    assert as_json([])["verdict"] == "ok"
