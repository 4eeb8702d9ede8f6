"""A procedure file's JSON Schema (draft 2020-12): what an editor needs to complete and to warn.

It says what the loader says of keys, types and words; how the parts of a procedure agree with one
another, and the safety rules, only `companion procedures check` can tell. A test holds its keys to
the loader's, both ways.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeAlias

from companion.procedures.loader import (
    ENDS,
    HOLD_NUMBERS,
    KINDS,
    MOST_DECIMALS,
    MOST_MONTHS,
    PHASES,
    POWERS,
    PROVES,
    SIGNS,
)
from companion.procedures.parts import PART, parts
from companion.procedures.tables import MOST_SPOKEN_WORDS, PHRASE, SLUG
from companion.quantities import UNITS

if TYPE_CHECKING:
    from collections.abc import Iterable

Schema: TypeAlias = dict[str, Any]

DRAFT = "https://json-schema.org/draft/2020-12/schema"

_SLUG = f"^{SLUG.pattern}$"
_SPOKEN = rf"^\s*(\S+\s+){{0,{MOST_SPOKEN_WORDS - 1}}}\S+\s*$"


def schema() -> Schema:
    """Return the schema, ready for JSON.

    >>> schema()["properties"]["kind"]["enum"]
    ['work', 'fault']
    """
    return {
        "$schema": DRAFT,
        **_table(
            "A procedure: the ordered steps of a kind of work.",
            ("slug", "title", "version", "tools", "steps"),
            {
                "slug": _slug("Its name in commands, and the file's name without .toml."),
                "kind": _one_of(
                    KINDS, "'fault' for fault-finding, reached by a complaint; else 'work'."
                ),
                "title": _spoken("What it is called, as it is said."),
                "version": _text("Your count of its changes, such as 1.0."),
                "names": _phrases("What a technician may call it. Of a fault: the complaints."),
                "scope_note": _text("What it is for, and what not. Read, not spoken."),
                "tools": _texts("Tools and materials, as they are said.", least=1),
                "points": {
                    "type": "object",
                    "description": "The test points by name: where readings are taken.",
                    "propertyNames": {"pattern": _SLUG},
                    "additionalProperties": _point(),
                },
                "steps": _list("The steps, in order.", _step(), least=1),
            },
        ),
    }


def _point() -> Schema:
    return _table(
        "Where a reading is taken.",
        ("names", "unit", "low", "high", "decimals"),
        {
            "names": _phrases("The phrases that name it; the first is said back.", least=1),
            "unit": _one_of(UNITS, "The unit that it is logged in."),
            "low": _number("The lowest value that can be true; below it, it asks again."),
            "high": _number("The highest value that can be true; above it, it asks again."),
            "decimals": {
                "type": "integer",
                "minimum": 0,
                "maximum": MOST_DECIMALS,
                "description": "How many places a meter shows there.",
            },
            "sign": _one_of(SIGNS, "Which sign a value has there; 'minus' adds what isn't said."),
            "others": _list("Other units that it may be said in.", {"enum": list(UNITS)}),
        },
    )


def _step() -> Schema:
    made = _table(
        "One thing to do; or the word 'part' alone, for steps that all procedures share.",
        (),
        {
            PART: _one_of(parts(), "Steps that all procedures share, put in here. Stands alone."),
            "slug": _slug("The step's name, each once."),
            "say": _spoken("What is said, in one breath."),
            "short": _text("The same in a few words, for who asked to keep it short."),
            "more": _text("What is said to 'tell me more'."),
            "caution": _spoken("What is said before the step, and must be heard to its end."),
            "when": _when("The step applies only with these answers."),
            "readings": _list("Readings that it asks for, in order.", _reading()),
            "choice": _choice(),
            "hold": _hold(),
            "line_voltage": _flag("Line voltage may be met: for the licensed trade."),
            "needs_dead": _flag("Done only while the circuit is proved dead."),
            "cuts": _flag("It cuts into something."),
            "power": _one_of(POWERS, "'on': it restores power. 'live': done with power on."),
            "works_out": _slug("A sizing that is answered from the log when the step begins."),
            "ends": _one_of(ENDS, "The job ends here, and how."),
            "customer": _text("What the report tells the customer once the step is done."),
            "labels": _flag("It places labels; the report lists it."),
            "service_months": {
                "type": "integer",
                "minimum": 1,
                "maximum": MOST_MONTHS,
                "description": "Months until the next service, that the report computes with.",
            },
        },
    )
    # A part takes its steps as they are; any other step has a name and something to say.
    del made["required"]
    return {
        **made,
        "if": {"required": [PART]},
        "then": {"maxProperties": 1},
        "else": {"required": ["slug", "say"]},
    }


def _reading() -> Schema:
    return _table(
        "A reading that the step asks for.",
        ("point", "ask"),
        {
            "point": _slug("The test point."),
            "ask": _spoken("How it is asked for."),
            "limit": _limit(),
            "when": _when("It is asked for only with these answers."),
            "phase": _one_of(PHASES, "Before the work, or after it."),
        },
    )


def _limit() -> Schema:
    return _table(
        "The acceptable range, in the test point's unit; either end may be open.",
        ("source", "otherwise"),
        {
            "low": _number("The lowest acceptable value."),
            "high": _number("The highest acceptable value."),
            "low_of": _slug("A test point: its last reading is the lowest acceptable value."),
            "low_times": _number("With low_of: so many times that reading."),
            "high_of": _slug("A test point: its last reading is the highest acceptable value."),
            "high_plus": _number("With high_of: so much more than that reading."),
            "source": _text("Where it is from, with its edition; or 'common practice, no source'."),
            "otherwise": _spoken("What to do when a reading is outside."),
            "stops": _flag("The job does not go on while the reading is outside."),
        },
    )


def _choice() -> Schema:
    option = _table(
        "One answer.",
        ("slug", "names"),
        {
            "slug": _slug("The answer's name, for 'when'."),
            "names": _phrases("The phrases that give this answer.", least=1),
            "goto": _slug("A later step to go on with; else the next one."),
        },
    )
    return _table(
        "A choice that the step asks.",
        ("slug", "ask", "options"),
        {
            "slug": _slug("The choice's name, for 'when'."),
            "ask": _spoken("How it is asked; name every answer."),
            "options": _list("The answers, the ordinary one first.", option, least=1),
        },
    )


def _hold() -> Schema:
    check = _table(
        "Something to be answered with yes.",
        ("slug", "ask", "if_no"),
        {
            "slug": _slug("The check's name."),
            "ask": _spoken("How it is asked: yes must be the safe answer."),
            "if_no": _spoken("What is said to a no."),
            "last": _flag("It is asked after the hold point's readings, not before them."),
            "when": _when("It is asked only with these answers."),
        },
    )
    return _table(
        "A hold point: not passed before its readings and checks are met and confirmed aloud.",
        ("number", "title", "confirm"),
        {
            "number": _one_of(HOLD_NUMBERS, "Which of the seven it is."),
            "title": _spoken("What it is called."),
            "confirm": _spoken("What is said once all is met; it asks for 'confirmed'."),
            "checks": _list("What must be answered with yes, in order.", check),
            "proves": _one_of(
                PROVES, "'dead': the lock-out. 'readings': the job's readings are accepted."
            ),
        },
    )


# ---------------------------------------------------------------- kinds of values


def _table(description: str, needed: Iterable[str], keys: dict[str, Schema]) -> Schema:
    return {
        "type": "object",
        "description": description,
        "properties": keys,
        "required": list(needed),
        "additionalProperties": False,
    }


def _text(description: str) -> Schema:
    return {"type": "string", "pattern": r"\S", "description": description}


def _spoken(description: str) -> Schema:
    told = f"{description} At most {MOST_SPOKEN_WORDS} words."
    return {"type": "string", "pattern": _SPOKEN, "description": told}


def _slug(description: str) -> Schema:
    told = f"{description} Lower-case letters and digits joined by hyphens."
    return {"type": "string", "pattern": _SLUG, "description": told}


def _one_of(words: Iterable[str], description: str) -> Schema:
    return {"type": "string", "enum": list(words), "description": description}


def _flag(description: str) -> Schema:
    return {"type": "boolean", "description": description}


def _number(description: str) -> Schema:
    return {"type": "number", "description": description}


def _list(description: str, items: Schema, *, least: int = 0) -> Schema:
    return {"type": "array", "items": items, "minItems": least, "description": description}


def _texts(description: str, *, least: int = 0) -> Schema:
    return _list(description, {"type": "string", "pattern": r"\S"}, least=least)


def _phrases(description: str, *, least: int = 0) -> Schema:
    told = f"{description} Lower-case words as they are heard, numbers as words."
    phrase = {"type": "string", "pattern": f"^{PHRASE.pattern}$"}
    return {**_list(told, phrase, least=least), "uniqueItems": True}


def _when(description: str) -> Schema:
    option = {"type": "string"}
    return {
        "type": "object",
        "description": f"{description} A choice's name, and an answer or a list of answers.",
        "additionalProperties": {
            "anyOf": [option, {"type": "array", "items": option, "minItems": 1}]
        },
    }
