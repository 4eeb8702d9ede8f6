"""The docs gate: what can be typed, said or logged is documented, and what is documented is so."""

from __future__ import annotations

import argparse
import ast
import re
import shlex
from datetime import UTC, datetime
from functools import cache
from io import StringIO
from pathlib import Path
from textwrap import dedent
from typing import TYPE_CHECKING

import pytest

from companion import errors
from companion.bench.__main__ import BENCHMARKS
from companion.cli import INTERRUPTED, main, parser
from companion.dialogue.forgetting import ToForget, forgotten
from companion.dialogue.scopes import NOTE, named_scopes
from companion.language.compose import Language, compose
from companion.language.library import packaged_library
from companion.language.meanings import (
    Change,
    Choice,
    Command,
    Correction,
    Emergency,
    Question,
    Reading,
    TimerFor,
    Value,
)
from companion.language.typed import repair
from companion.ports import ChoiceVocabulary, PointVocabulary, Scope
from companion.procedures import procedure
from companion.sizing import sizings

if TYPE_CHECKING:
    from collections.abc import Iterator

    from companion.language.meanings import Meaning

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text("utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")


def section(text: str, title: str) -> str:
    """The part of a page under a heading, with the headings below it."""
    level = title.split(" ", 1)[0]
    body = text.partition(f"\n{title}\n")[2]
    return re.split(rf"\n#{{1,{len(level)}}} ", body)[0]


# ---------------------------------------------------------------- the two commands


def test_the_two_commands_stand_at_the_top_and_are_what_the_clean_checkout_runs() -> None:
    top = README.partition("\n## ")[0]
    commands = re.findall(r"^    (\S.*)$", top, re.MULTILINE)
    assert commands == [
        "python3 -m venv .venv && .venv/bin/pip install . && .venv/bin/companion rehearse",
        "python3 -m venv .venv && .venv/bin/pip install -e '.[test]' && .venv/bin/pytest",
    ]
    script = (ROOT / ".ci" / "run").read_text("utf-8")
    assert all(command in script for command in commands)


# ---------------------------------------------------------------- what can be typed


def leaves(
    line: argparse.ArgumentParser, name: str
) -> Iterator[tuple[str, argparse.ArgumentParser]]:
    """Yield every command that does something, with its full name."""
    below = [a for a in line._actions if isinstance(a, argparse._SubParsersAction)]
    for action in below:
        for word, command in action.choices.items():
            yield from leaves(command, f"{name} {word}")
    if not below:
        yield name, line


COMMANDS = dict(leaves(parser(), "companion"))


def told_of(command: str) -> str:
    """What README says of a command."""
    return section(README, f"### {' '.join(command.split()[:2])}")


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_shown_with_an_example(command: str) -> None:
    assert re.search(rf"^    {command}\b", told_of(command), re.MULTILINE)


@pytest.mark.parametrize("command", COMMANDS)
def test_every_option_and_its_choices_are_explained(command: str) -> None:
    told = told_of(command)
    for action in COMMANDS[command]._actions:
        if "--help" in action.option_strings:
            continue
        missing = [name for name in action.option_strings if f"`{name}" not in told]
        missing += [str(name) for name in action.choices or () if str(name) not in told]
        assert missing == [], action


def examples() -> list[str]:
    """Every line of the two pages that calls the program."""
    shown = re.findall(r"^    (companion .*)$", f"{README}\n{DEVELOPERS}", re.MULTILINE)
    return sorted(set(shown))


@pytest.mark.parametrize("example", examples())
def test_an_example_can_be_typed(example: str) -> None:
    parser().parse_args(shlex.split(example)[1:])  # a wrong one ends the test


def shown_after(command: str) -> str:
    """What README prints below an example, up to the next paragraph of its own."""
    below = README.partition(f"    {command}\n")[2]
    return dedent(re.split(r"^(?=\S)", below, maxsplit=1, flags=re.MULTILINE)[0]).strip("\n")


def test_the_answer_that_is_shown_is_the_answer(capsys: pytest.CaptureFixture[str]) -> None:
    command = 'companion ask "what does a 1500 watt load draw at 120"'
    assert main(shlex.split(command)[1:]) == 0
    assert capsys.readouterr().out.rstrip("\n") == shown_after(command)


def test_the_talk_that_is_shown_is_the_talk(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    typed = shown_after("companion work --typed")
    resumed = dedent(section(README, "### companion work").partition("where it was.\n\n")[2])
    arguments = ["work", "--typed", "--log", str(tmp_path / "jobs.sqlite3")]
    for shown in (typed, resumed):
        said = re.findall(r"^> (.*)$", shown, re.MULTILINE)
        monkeypatch.setattr("sys.stdin", StringIO("".join(f"{line}\n" for line in said)))
        assert main(arguments) == 0
        lines = [line.strip() for line in capsys.readouterr().out.splitlines()]
        assert lines == [line.strip() for line in shown.strip().splitlines()]


def test_every_benchmark_is_named() -> None:
    for name in BENCHMARKS:
        assert f"python -m companion.bench {name}" in DEVELOPERS


def test_every_exit_code_is_explained() -> None:
    told = section(README, "### Exit codes")
    codes = {int(code) for code in re.findall(r"^\| (\d+) \|", told, re.MULTILINE)}
    kinds = [kind for kind in vars(errors).values() if isinstance(kind, type)]
    used = {kind.exit_code for kind in kinds if issubclass(kind, errors.CompanionError)}
    assert codes == used | {0, 2, INTERRUPTED}  # 2 is argparse's own


# ---------------------------------------------------------------- what can be said

DAMPER = procedure("fresh-air-damper")
POINT = PointVocabulary("supply-static", ("supply static",), "inH2O", ("Pa",), awaited=True)
CHOICES = (
    NOTE,
    ChoiceVocabulary(
        "between",
        (("first", ("one five", "the first")), ("second", ("the second",)), ("no", ("neither",))),
    ),
    *(
        ChoiceVocabulary(
            step.choice.slug, tuple((option.slug, option.names) for option in step.choice.options)
        )
        for step in DAMPER.steps
        if step.choice
    ),
)


@cache
def moments() -> tuple[Language, ...]:
    """Every kind of moment that README's phrases belong to."""
    named = named_scopes(DAMPER)
    asked = [Scope("choice", commands=False, questions=False, choice=each) for each in CHOICES]
    scopes = (
        named["everything"],
        named["standing-by"],
        Scope("step", questions=False, points=(POINT,)),
        Scope("input", asking_kind="measure", asking_units=("ft",)),
        Scope("input", asking_kind="trade size"),
        *asked,
    )
    return tuple(compose(scope) for scope in scopes)


@cache
def meanings_of(said: str) -> tuple[Meaning, ...]:
    """All that a documented phrase can mean, at some moment."""
    return tuple(
        meaning for moment in moments() for meaning in moment.understand(repair(said, moment))
    )


def phrases() -> list[str]:
    """What README's section on speaking puts in double quotes."""
    return re.findall(r'"([^"\n]+)"', section(README, "## What you can say"))


# Meanings that come from one rule whatever they hold; the others carry the rule's name.
PLAIN = {
    Correction: "readings.correction",
    Change: "readings.change",
    TimerFor: "readings.set-timer",
    Choice: "choice",
}


def rule_of(meaning: Meaning) -> str:
    """The grammar rule that a meaning comes from."""
    match meaning:
        case Emergency(name):
            return f"emergency.{name}"
        case Command(name):
            return "readings.recall" if name == "recall" else f"commands.{name}"
        case Question(name):
            return f"questions.{name}"
        case Reading(point):
            return f"readings.{'reading' if point else 'bare'}"
        case Value(measure):
            return f"readings.{'answer' if measure else 'size-answer'}"
        case _:
            return PLAIN[type(meaning)]


RULES = sorted(
    f"{grammar}.{rule}"
    for grammar in ("emergency", "commands", "readings")
    for rule in packaged_library().public(f"companion.{grammar}")
)


@pytest.mark.parametrize("rule", RULES)
def test_every_rule_that_can_be_said_has_a_phrase_in_readme(rule: str) -> None:
    documented = {rule_of(meaning) for said in phrases() for meaning in meanings_of(said)}
    assert rule in documented


@pytest.mark.parametrize("said", phrases())
def test_what_readme_says_can_be_said_is_understood(said: str) -> None:
    assert meanings_of(said) != ()


@pytest.mark.parametrize("group", {each.group for each in sizings().values()})
def test_every_group_of_sizings_has_an_example_shown(group: str) -> None:
    plain = {re.sub(r"[^a-z' ]", "", said.lower()) for said in phrases()}
    examples = [each.example for each in sizings().values() if each.group == group]
    assert plain & {re.sub(r"[^a-z' ]", "", each.lower()) for each in examples}


# ---------------------------------------------------------------- what is logged


def logged() -> dict[str, set[str]]:
    """Every kind of entry that is logged, with the payload keys that it names."""
    found: dict[str, set[str]] = {}
    for path in (ROOT / "companion" / "dialogue").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Attribute)
                and node.func.attr == "log"
                and node.args
                and isinstance(node.args[0], ast.Constant)
            ):
                keys = {keyword.arg for keyword in node.keywords if keyword.arg}
                found.setdefault(str(node.args[0].value), set()).update(keys)
    removal = forgotten(ToForget((1,), (2,)), "why", datetime(2026, 3, 4, tzinfo=UTC))
    return found | {removal.kind: set(removal.payload)}


def documented_entries() -> dict[str, set[str]]:
    """The table of kinds in DEVELOPERS."""
    rows = re.findall(
        r"^\| `([a-z-]+)` \| (.*?) \|", section(DEVELOPERS, "## The job log"), re.MULTILINE
    )
    return {kind: set(re.findall(r"`([a-z_]+)`", keys)) for kind, keys in rows}


def test_every_kind_of_entry_is_documented_and_no_other() -> None:
    assert set(documented_entries()) == set(logged())


@pytest.mark.parametrize("kind", sorted(logged()))
def test_a_kinds_payload_is_documented(kind: str) -> None:
    assert logged()[kind] - documented_entries().get(kind, set()) == set()


def test_every_room_is_in_the_layout() -> None:
    layout = section(DEVELOPERS, "## Layout: who may import whom")
    rooms = {path.parent.name for path in (ROOT / "companion").glob("*/__init__.py")}
    assert {room for room in rooms if f"`{room}/`" not in layout} == set()
