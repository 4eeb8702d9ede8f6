"""The packaged grammars, linked: every reference resolved to one rule of one file.

A linked rule goes by its qualified name ('companion.numbers.number'). Linking checks what a single
file cannot know: that every rule named is defined somewhere, and that no rule leads back to itself
(a recursive rule is no finite automaton).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from companion.errors import GrammarError
from companion.language.expressions import Expression, RuleRef, references, rewrite
from companion.language.jsgf import GrammarFile, parse
from companion.packaged import packaged_folder

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path


@dataclass(frozen=True, slots=True, eq=False)
class Library:
    """Grammar files linked with one another.

    `files` are the files by grammar name ('companion.commands'); `rules` every rule's expression
    by its qualified name, with all references qualified.
    """

    files: Mapping[str, GrammarFile]
    rules: Mapping[str, Expression]

    def public(self, grammar: str) -> dict[str, Expression]:
        """Return the public rules of a grammar by their own names, linked; none if unknown."""
        file = self.files.get(grammar)
        if file is None:
            return {}
        return {rule.name: self.rules[f"{grammar}.{rule.name}"] for rule in file.public}

    def family(self, grammar: str) -> dict[str, str]:
        """Return the public rules of a subject that several files share, by their own names.

        Those are the files called as the grammar, or as it with a hyphen and a word more
        ('companion.questions', 'companion.questions-air'). The values are the qualified names.

        Args:
            grammar: the subject's grammar name.
        """
        names = sorted(
            name for name in self.files if name == grammar or name.startswith(f"{grammar}-")
        )
        return {rule: f"{name}.{rule}" for name in names for rule in self.public(name)}


def link(files: Iterable[GrammarFile], runtime: Iterable[str] = ()) -> Library:
    """Return the files as a library.

    Args:
        files: parsed grammars, each with its own name.
        runtime: qualified names that are filled in later, from the scope.

    Raises:
        GrammarError: a rule is named that nobody defines, or a rule leads back to itself.
    """
    by_name = {file.name: file for file in files}
    known = {f"{file.name}.{rule}" for file in by_name.values() for rule in file.rules}
    known |= set(runtime)
    rules: dict[str, Expression] = {}
    for file in by_name.values():
        resolver = _Resolver(file, known)
        for rule in file.rules.values():
            rules[f"{file.name}.{rule.name}"] = rewrite(rule.expression, resolver.resolve)
    _refuse_recursion(by_name, rules)
    return Library(by_name, rules)


class _Resolver:
    """Finds the qualified name behind a reference in one file."""

    def __init__(self, file: GrammarFile, known: set[str]) -> None:
        self._file, self._known = file, known
        self._imported: dict[str, str] = {}
        for ref in file.imports:
            names = [name for name in known if _imports(ref.name, name)]
            if not names:
                raise GrammarError(
                    f"import <{ref.name}> finds no rule",
                    f"Known grammars: {', '.join(sorted({_package(name) for name in known}))}.",
                    where=f"{file.where}:{ref.line}:{ref.column}",
                )
            self._imported |= {_last(name): name for name in names}

    def resolve(self, ref: RuleRef) -> RuleRef:
        local = f"{self._file.name}.{ref.name}"
        for name in (local, ref.name, self._imported.get(ref.name, "")):
            if name in self._known:
                return RuleRef(name, ref.line, ref.column)
        defined = ", ".join(f"<{name}>" for name in self._file.rules)
        imported = ", ".join(f"<{name}>" for name in sorted(self._imported))
        raise GrammarError(
            f"rule <{ref.name}> is used but not defined",
            f"This file defines {defined or 'no rule'} and imports {imported or 'none'}.",
            where=f"{self._file.where}:{ref.line}:{ref.column}",
        )


def _imports(pattern: str, name: str) -> bool:
    return name == pattern or (pattern.endswith(".*") and _package(name) == pattern[:-2])


def _package(name: str) -> str:
    return name.rpartition(".")[0]


def _last(name: str) -> str:
    return name.rpartition(".")[2]


def _refuse_recursion(files: Mapping[str, GrammarFile], rules: Mapping[str, Expression]) -> None:
    """Walk every chain of references; one that comes back to its start is an error."""
    sound: set[str] = set()

    def walk(name: str, chain: tuple[str, ...]) -> None:
        for ref in references(rules[name]):
            if ref.name in chain:
                loop = " -> ".join(f"<{_last(step)}>" for step in (*chain, ref.name))
                where = files[_package(name)].where
                raise GrammarError(
                    f"rule <{_last(ref.name)}> leads back to itself: {loop}",
                    "Use '*' or '+' to say something again and again.",
                    where=f"{where}:{ref.line}:{ref.column}",
                )
            if ref.name in rules and ref.name not in sound:
                walk(ref.name, (*chain, ref.name))
        sound.add(name)

    for name in rules:
        if name not in sound:
            walk(name, (name,))


def read_folder(folder: Path, runtime: Iterable[str] = ()) -> Library:
    """Return all `*.jsgf` files of a folder as a library.

    Raises:
        GrammarError: a file breaks a rule of the format, or the files do not fit together.
    """
    files = [
        parse(path.read_text(encoding="utf-8"), f"{folder.name}/{path.name}")
        for path in sorted(folder.glob("*.jsgf"))
    ]
    return link(files, runtime)


# What readings.jsgf leaves open until a scope is known: how a test point is called, and the units
# that may be said with it.
RUNTIME = (
    "companion.moment.point",
    "companion.moment.unit",
    "companion.moment.any-unit",
    "companion.moment.name",
)


@lru_cache(maxsize=1)
def packaged_library() -> Library:
    """Return the packaged grammars; read once a process."""
    return read_folder(packaged_folder("grammars"), RUNTIME)
