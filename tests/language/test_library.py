from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from companion.errors import GrammarError
from companion.language.expressions import RuleRef, references
from companion.language.jsgf import parse
from companion.language.library import Library, link, packaged_library, read_folder

if TYPE_CHECKING:
    from pathlib import Path

UNITS = "#JSGF V1.0;\ngrammar companion.units;\n<V> = volts;\n<A> = amps;\n"


def _link(text: str, *others: str, runtime: tuple[str, ...] = ()) -> Library:
    first = parse(f"#JSGF V1.0;\ngrammar companion.demo;\n{text}", "demo.jsgf")
    return link([first, *(parse(other, "other.jsgf") for other in others)], runtime)


@pytest.mark.parametrize(
    "text",
    [
        "import <companion.units.*>; public <x> = <V>;",
        "import <companion.units.V>; public <x> = <V>;",
        "public <x> = <companion.units.V>;",
    ],
)
def test_a_rule_of_another_file_is_found_however_it_is_named(text: str) -> None:
    library = _link(text, UNITS)
    assert library.public("companion.demo") == {"x": RuleRef("companion.units.V")}
    assert library.public("companion.nowhere") == {}


def test_a_files_own_rule_comes_before_an_imported_one() -> None:
    library = _link("import <companion.units.*>; <V> = v; public <x> = <V>;", UNITS)
    assert library.rules["companion.demo.x"] == RuleRef("companion.demo.V")


def test_an_unknown_rule_is_named_with_its_place_and_what_there_is() -> None:
    with pytest.raises(GrammarError) as caught:
        _link("import <companion.units.*>;\n<x> = a <unit>;\n<y> = b;", UNITS)
    assert str(caught.value) == (
        "demo.jsgf:4:9: rule <unit> is used but not defined. "
        "This file defines <x>, <y> and imports <A>, <V>."
    )


def test_an_import_of_nothing_is_refused() -> None:
    with pytest.raises(GrammarError) as caught:
        _link("import <companion.unit.*>;\n<x> = a;", UNITS)
    assert str(caught.value) == (
        "demo.jsgf:3:8: import <companion.unit.*> finds no rule. "
        "Known grammars: companion.demo, companion.units."
    )


def test_recursion_is_refused_and_the_loop_shown() -> None:
    with pytest.raises(GrammarError) as caught:
        _link("<x> = a <y>;\n<y> = [b] <z>;\n<z> = c | <x>;")
    assert str(caught.value) == (
        "demo.jsgf:5:11: rule <x> leads back to itself: <x> -> <y> -> <z> -> <x>. "
        "Use '*' or '+' to say something again and again."
    )


def test_a_runtime_name_may_stay_open() -> None:
    library = _link(
        "import <companion.moment.*>; public <x> = <point>;", runtime=("companion.moment.point",)
    )
    assert library.rules["companion.demo.x"] == RuleRef("companion.moment.point")


def test_a_folder_is_read_and_its_files_are_named_in_errors(tmp_path: Path) -> None:
    (tmp_path / "units.jsgf").write_text(UNITS)
    (tmp_path / "bad.jsgf").write_text("#JSGF V1.0;\ngrammar companion.bad;\n<x> = (a;\n")
    with pytest.raises(GrammarError, match=rf"{tmp_path.name}/bad.jsgf:3:9"):
        read_folder(tmp_path)


def test_the_packaged_grammars_fit_together() -> None:
    library = packaged_library()
    assert {"companion.emergency", "companion.commands", "companion.readings"} <= set(library.files)
    named = {ref.name for tree in library.rules.values() for ref in references(tree)}
    assert {name for name in named if not name.startswith("companion.moment.")} <= set(
        library.rules
    )
