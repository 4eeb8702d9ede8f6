"""What a procedure must know of a sizing that it works out: its inputs, and where they come from.

Procedures know no sizing: these are handed in by who knows both.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence


class ValidRange(Protocol):
    """The values that a sizing holds for, in one unit, ends included."""

    @property
    def low(self) -> str:
        """The lowest, a decimal string."""

    @property
    def high(self) -> str:
        """The highest, a decimal string."""

    @property
    def unit(self) -> str:
        """The unit slug."""


class NeededInput(Protocol):
    """One input of a sizing."""

    @property
    def name(self) -> str:
        """What it is called."""

    @property
    def ask(self) -> str:
        """The question that asks for it aloud; '' where nothing does."""

    @property
    def default(self) -> str:
        """What is assumed where it is left out; '' for nothing."""

    @property
    def from_log(self) -> Sequence[str]:
        """The test points whose reading may fill it."""

    @property
    def ranges(self) -> Sequence[ValidRange]:
        """Its valid values, one range for each dimension; none where it is chosen."""

    @property
    def needed(self) -> Callable[[Mapping[str, object]], bool]:
        """Whether it matters, by the inputs that are known."""


class NeededBySizing(Protocol):
    """A sizing, as far as a procedure must know it."""

    @property
    def inputs(self) -> Sequence[NeededInput]:
        """Its inputs."""


Needs: TypeAlias = "Mapping[str, NeededBySizing]"
