"""The published JSON Schema of an exported job (draft 2020-12), and checking a job against it."""

from __future__ import annotations

import json
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from companion.errors import ForeignJobError

if TYPE_CHECKING:
    from companion.ports import Json

FILE = "job.schema.json"
_LONGEST_PLACE = 80  # a hostile key may be long


def schema_text() -> str:
    """Return the schema as it is published."""
    return (files("companion.joblog") / FILE).read_text("utf-8")


def check_schema(job: Json) -> None:
    """Hold a job, as read from JSON, to the schema.

    Raises:
        ForeignJobError: it breaks the schema; says where, and which of its rules.
    """
    fault = next(_validator().iter_errors(job), None)
    if fault is not None:
        place = ascii(fault.json_path)[1:-1]
        shown = place if len(place) <= _LONGEST_PLACE else f"{place[:_LONGEST_PLACE]}…"
        raise ForeignJobError(f"{shown} breaks the schema's rule '{fault.validator}'")


@cache
def _validator() -> Any:  # noqa: ANN401 -- jsonschema has no types
    import jsonschema  # noqa: PLC0415 -- loaded when used

    return jsonschema.Draft202012Validator(json.loads(schema_text()))
