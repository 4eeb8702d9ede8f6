"""Procedures: the model, the loader, the data, and how one is walked.

`procedures()` are the packaged ones; `load` reads one from text; `next_step` and its neighbours
walk one. What is wrong with a file is told with its line and key (`BrokenProcedureError`).
"""

from __future__ import annotations

from companion.procedures.loader import (
    complaints,
    faults,
    findings_in,
    load,
    procedure,
    procedures,
    slugs,
)
from companion.procedures.problems import BrokenProcedureError, Problem
from companion.procedures.walking import (
    Walk,
    dead_hold,
    first_step,
    is_deferred,
    next_step,
    previous_step,
    steps_to_go,
    walks,
)

__all__ = [
    "BrokenProcedureError",
    "Problem",
    "Walk",
    "complaints",
    "dead_hold",
    "faults",
    "findings_in",
    "first_step",
    "is_deferred",
    "load",
    "next_step",
    "previous_step",
    "procedure",
    "procedures",
    "slugs",
    "steps_to_go",
    "walks",
]
