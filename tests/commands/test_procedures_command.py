"""The command: what it lists, shows, checks and begins, and what it says of a broken file."""

from __future__ import annotations

import json
from pathlib import Path
from textwrap import indent

import pytest

from companion.cli import main
from companion.procedures import procedures


@pytest.fixture(autouse=True)
def own(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """The shop's folder, empty."""
    folder = tmp_path / "own"
    folder.mkdir()
    monkeypatch.setenv("COMPANION_PROCEDURES", str(folder))
    return folder


def test_all_are_listed_with_their_figures(capsys: pytest.CaptureFixture[str], own: Path) -> None:
    assert main(["procedures", "list"]) == 0
    told = capsys.readouterr().out
    for slug, made in procedures().items():
        assert f"\n{slug} " in told
        assert f" {len(made.steps):5} " in told
    assert str(own) in told


def test_the_list_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["procedures", "list", "--json"]) == 0
    rows = {row["name"]: row for row in json.loads(capsys.readouterr().out)}
    assert set(rows) == set(procedures())
    assert rows["fresh-air-damper"]["holds"] == ["H1", "H2", "H3", "H4", "H5", "H6", "H7"]
    assert rows["fresh-air-damper"]["file"] == ""


def test_begun_checked_shown_and_there(capsys: pytest.CaptureFixture[str], own: Path) -> None:
    out = own / "attic-fan.toml"
    assert main(["procedures", "new", "attic-fan", "--title", "Attic fan", "--out", str(out)]) == 0
    assert main(["procedures", "check", str(out)]) == 0
    assert " rules: holds" in capsys.readouterr().out
    assert main(["procedures", "show", "attic-fan"]) == 0
    told = capsys.readouterr().out
    assert told.startswith("Attic fan, version 1.0")
    assert "Hold: Live, dead, live. Say confirmed if all of it is dead." in told
    assert "(at least 21.6, at most 26.4 V; 24 V plus or minus 10 %" in told
    assert main(["procedures", "list"]) == 0
    assert str(out) in capsys.readouterr().out


def test_nothing_is_written_over(capsys: pytest.CaptureFixture[str], own: Path) -> None:
    out = own / "mine.toml"
    out.write_text("mine", "utf-8")
    assert main(["procedures", "new", "mine", "--out", str(out)]) == 3
    assert "is there already. Name another file with --out." in capsys.readouterr().err
    assert out.read_text("utf-8") == "mine"


@pytest.mark.parametrize(("slug", "title"), [("Attic Fan", "Attic fan"), ("fan", "Fan no. 2")])
def test_names_and_titles_are_such(
    slug: str, title: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["procedures", "new", slug, "--title", title]) == 3
    assert "is no " in capsys.readouterr().err


def test_a_broken_one_is_told_with_file_line_rule_way_and_what_mends_it(
    capsys: pytest.CaptureFixture[str], own: Path
) -> None:
    out = own / "attic-fan.toml"
    main(["procedures", "new", "attic-fan", "--out", str(out)])
    text = out.read_text("utf-8")
    out.write_text(text.replace('[[steps]]\npart = "lock-out"\n', ""), "utf-8")
    capsys.readouterr()
    assert main(["procedures", "check"]) == 3
    told = capsys.readouterr().out
    assert "fresh-air-damper: 73 steps" in told
    line = next(line for line in told.splitlines() if "[dead-first]" in line)
    assert line.strip().startswith(f"{out}:")
    assert "Mend it: Put the lock-out (part 'lock-out') before this step" in told
    assert "on the way: danger none" in told
    assert main(["procedures", "list"]) == 3
    assert "Left out:" in capsys.readouterr().err
    assert main(["procedures", "check", "--json", str(out)]) == 3
    (report,) = json.loads(capsys.readouterr().out)
    assert {each["rule"] for each in report["problems"]} >= {"dead-first"}


def test_the_rules_are_read_with_reason_and_source(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["procedures", "check", "--rules"]) == 0
    told = capsys.readouterr().out
    assert "dead-first" in told
    assert "Why: A cut can't be taken back," in told
    assert "From: common practice, no source" in told


def test_an_unknown_one_is_told_with_what_there_is(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["procedures", "show", "chimney"]) == 3
    told = capsys.readouterr().err
    assert "fresh-air-damper, " in told
    assert ", humidifier, " in told


def test_one_is_drawn_here_or_where_it_is_wanted(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["procedures", "draw", "overflow-switch"]) == 0
    assert capsys.readouterr().out.startswith("overflow-switch.svg\n")
    assert "<svg" in (tmp_path / "overflow-switch.svg").read_text("utf-8")
    assert main(["procedures", "draw", "overflow-switch", "--out", str(tmp_path / "no" / "d")]) == 3
    assert "cannot be written" in capsys.readouterr().err


def test_the_schema_is_printed_or_written(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert main(["procedures", "schema"]) == 0
    printed = json.loads(capsys.readouterr().out)
    assert printed["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    out = tmp_path / "procedure.schema.json"
    assert main(["procedures", "schema", "--out", str(out)]) == 0
    assert "#:schema ./procedure.schema.json" in capsys.readouterr().out
    assert json.loads(out.read_text("utf-8")) == printed


def test_readme_shows_the_list_as_it_is(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("COMPANION_PROCEDURES", str(tmp_path))
    assert main(["procedures", "list"]) == 0
    table = capsys.readouterr().out.partition("\n\n")[0]
    readme = (Path(__file__).parents[2] / "README.md").read_text("utf-8")
    assert indent(table, "    ") in readme
