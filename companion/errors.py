"""The exception tree.

Every error that a user can meet descends from `CompanionError`. Fields come first; the message
is composed from them and says where, what was found, and what to do next. Mishearing is never an
exception: it is an event of the dialogue.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path


class CompanionError(Exception):
    """The root. `exit_code` is what the command ends with; `spoken` is what a listener hears.

    Args:
        problem: what was wrong, with the value.
        remedy: what to do next, a full sentence.
        where: file, line or input that the problem belongs to.
    """

    exit_code: ClassVar[int] = 1
    spoken: str = "Something failed. Say repeat, or look at the screen."

    def __init__(self, problem: str, remedy: str, *, where: str = "") -> None:
        super().__init__(problem, remedy, where)
        self.problem = problem
        self.remedy = remedy
        self.where = where

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        return f"{place}{self.problem.rstrip('.')}. {self.remedy}"

    def __reduce__(self) -> tuple[Any, ...]:
        """Let it pass between processes as it is, whatever its class takes to be made."""
        return _unpickled, (type(self), self.args), self.__dict__


def _unpickled(kind: type[CompanionError], given: tuple[Any, ...]) -> CompanionError:
    return kind.__new__(kind, *given)


class InputError(CompanionError):
    """Something the user handed over cannot be used."""

    exit_code = 3


class SoundFileError(InputError):
    """A sound file is missing, empty, truncated or no sound; `is_altered`: not what was kept."""

    is_altered = False


class SoundAlteredError(SoundFileError):
    """A sound that was kept has another digest than the log says."""

    is_altered = True


class ProcedureError(InputError):
    """A procedure file breaks a rule; `where` names file, line and key."""


class GrammarError(InputError):
    """A grammar file breaks a rule; `where` names file, line and column."""


class SizingError(InputError):
    """A sizing question cannot be answered as put. `spoken` words come from `problem`."""


class NotASizingError(SizingError):
    """The text matches no sizing question."""


class OutOfRangeError(SizingError):
    """An input lies outside what the sizing holds for.

    Args:
        name: the input in the technician's words ('one-way length').
        given: the value as heard ('six hundred feet').
        low: the lowest valid value, as spoken.
        high: the highest valid value, as spoken.
    """

    def __init__(self, name: str, given: str, low: str, high: str) -> None:
        super().__init__(
            f"{name} of {given} is outside {low} to {high}",
            f"Give a {name} from {low} to {high}.",
        )
        self.name, self.given, self.low, self.high = name, given, low, high


class MissingInputError(SizingError):
    """A sizing needs inputs that were not given; `names` lists them, first one first."""

    def __init__(self, names: Sequence[str], ask: str) -> None:
        super().__init__(f"The question leaves out: {', '.join(names)}", ask)
        self.names, self.ask = tuple(names), ask


class NotANumberError(InputError):
    """Words are not a number (or not a reading) of the trade."""

    def __init__(self, words: str) -> None:
        super().__init__(
            f"'{words}' is not a number",
            "Say it as a meter shows it, for example 'one nineteen' or 'point four five'.",
        )
        self.words = words


class UnitError(InputError):
    """A unit is unknown, or two units measure different things."""


class EngineError(CompanionError):
    """A model, a voice or a device that the program needs is not usable."""

    exit_code = 4


class ModelError(EngineError):
    """A model file is missing or altered."""


class FetchError(ModelError):
    """A model cannot be fetched: no network, a server that fails, or not the file we know."""


class DiskError(ModelError):
    """The disk has no room for a model or cannot be written; the model itself is all right."""


class DeviceError(EngineError):
    """A sound device is missing, taken or gone, or the library that reaches it is."""

    spoken = "The headset is gone. Plug it in."


class VoiceError(EngineError):
    """No voice can speak, or a named voice is unknown."""

    spoken = "I have no voice."


class StoreError(CompanionError):
    """The job log cannot be read or written."""

    exit_code = 5
    spoken = "I can't save. Nothing more is logged. Free the disk, then say resume."


class StoreFullError(StoreError):
    """The disk is full, read-only or failing; what was logged before is safe."""


class SoundShelfError(StoreError):
    """Sound cannot be kept beside the log; entries can. Nothing of it was kept.

    Args:
        problem: as in every error.
        remedy: as in every error.
        where: as in every error.
        is_bound: all the room that sound is given is taken.
    """

    spoken = "I can't keep sound."

    def __init__(
        self, problem: str, remedy: str, *, where: str = "", is_bound: bool = False
    ) -> None:
        super().__init__(problem, remedy, where=where)
        self.is_bound = is_bound


class NewerLogError(StoreError):
    """The log was written by a newer version of this program."""


class DamagedLogError(StoreError):
    """The chain of entries does not hold; `where` names the job and the entry."""


class ForeignJobError(InputError):
    """A file is no job that can be taken in; nothing of it was.

    Args:
        problem: as in every error.
        remedy: as in every error.
        where: as in every error.
    """

    def __init__(
        self,
        problem: str,
        remedy: str = "Export the job again where it is whole. Nothing was imported.",
        *,
        where: str = "",
    ) -> None:
        super().__init__(problem, remedy, where=where)


class JobThereError(StoreError):
    """A job of that id is in the log already, with other content."""


class JobNotFoundError(StoreError):
    """No job of that name is in the log."""

    def __init__(self, job: str, path: Path | str) -> None:
        super().__init__(
            f"No job '{job}' in {path}", "List the jobs with: companion jobs list", where=""
        )
        self.job = job
