"""Errors pass between processes: the rehearsal and the benchmark hear of them through a pipe."""

from __future__ import annotations

import pickle

import pytest

from companion.errors import (
    CompanionError,
    EngineError,
    JobNotFoundError,
    MissingInputError,
    OutOfRangeError,
)


@pytest.mark.parametrize(
    "error",
    [
        EngineError("No model", "Fetch one.", where="here"),
        JobNotFoundError("J-1", "jobs.db"),
        MissingInputError(["load", "length"], "Tell the load."),
        OutOfRangeError("length", "six hundred feet", "one foot", "five hundred feet"),
    ],
)
def test_an_error_is_the_same_in_another_process(error: CompanionError) -> None:
    there = pickle.loads(pickle.dumps(error))  # noqa: S301 - our own, made a moment ago
    assert type(there) is type(error)
    assert str(there) == str(error)
    assert there.__dict__ == error.__dict__
