"""The shop's own procedures: found by name, before a packaged one; broken ones are told."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from companion.errors import InputError, ProcedureError
from companion.procedure_shelf import folder, named, shelf
from companion.procedures import BrokenProcedureError, procedure, slugs
from companion.procedures.template import begun

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def own(tmp_path: Path) -> Path:
    """A shop's folder with one procedure of its own."""
    (tmp_path / "attic-fan.toml").write_text(begun("attic-fan", "Attic fan switch"), "utf-8")
    return tmp_path


def test_the_folder_is_where_settings_are_or_where_it_was_told(tmp_path: Path) -> None:
    assert folder({"XDG_CONFIG_HOME": str(tmp_path)}) == tmp_path / "companion" / "procedures"
    assert folder({"COMPANION_PROCEDURES": str(tmp_path)}) == tmp_path
    assert folder({}).parts[-3:] == (".config", "companion", "procedures")


def test_own_procedures_stand_beside_the_packaged_ones(own: Path) -> None:
    there = shelf(own)
    assert set(there.found) == {*slugs(), "attic-fan"}
    assert there.broken == ()
    assert there.found["attic-fan"].path == own / "attic-fan.toml"
    assert not there.found["attic-fan"].replaces
    assert named("attic-fan", own).title == "Attic fan switch"


def test_without_a_folder_there_are_the_packaged_ones(tmp_path: Path) -> None:
    assert set(shelf(tmp_path / "nowhere").found) == set(slugs())
    assert named("humidifier", tmp_path / "nowhere") is procedure("humidifier")


def test_a_procedure_of_the_shops_stands_in_the_place_of_a_packaged_one(own: Path) -> None:
    (own / "humidifier.toml").write_text(begun("humidifier", "Our humidifier"), "utf-8")
    assert shelf(own).found["humidifier"].replaces
    assert named("humidifier", own).title == "Our humidifier"


def test_one_that_breaks_a_rule_is_left_out_and_told(own: Path) -> None:
    text = begun("broken", "Broken").replace('part = "lock-out"', 'part = "arrival"')
    (own / "broken.toml").write_text(text, "utf-8")
    there = shelf(own)
    assert "broken" not in there.found
    assert [each.file for each in there.broken] == [str(own / "broken.toml")]
    with pytest.raises(BrokenProcedureError):
        named("broken", own)


def test_a_file_is_called_as_its_slug(own: Path) -> None:
    (own / "fan.toml").write_text(begun("attic-fan", "Attic fan switch"), "utf-8")
    (problem,) = shelf(own).broken
    assert "Call it attic-fan.toml" in str(problem)


def test_what_is_not_there_is_told_with_what_is(own: Path) -> None:
    with pytest.raises(ProcedureError, match=r"air-proving-switch.*attic-fan.*humidifier"):
        named("chimney", own)
    with pytest.raises(InputError, match="cannot be read"):
        named(str(own / "chimney.toml"), own)
