"""A job log that is forgotten at the end: for a trial without a file, and for tests."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from companion.chain import SALT_BYTES, chain, verify
from companion.errors import JobNotFoundError
from companion.joblog.summary import job_id, summary

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import datetime

    from companion.joblog.summary import JobSummary
    from companion.ports import Draft, Entry


class MemoryStore:
    """The job log in memory. Salts are counted, not random, so that a trial repeats exactly."""

    def __init__(self) -> None:
        self._jobs: dict[str, tuple[Entry, ...]] = {}

    def append(self, job: str, drafts: Sequence[Draft]) -> tuple[Entry, ...]:
        """Number, chain and keep the drafts, all or none; see `SqliteStore.append`."""
        before = self._jobs.get(job, ())
        salts = [_salt(len(before) + 1 + place) for place in range(len(drafts))]
        added = chain(before[-1] if before else None, job, drafts, salts)
        if added:
            self._jobs[job] = before + added
        return added

    def entries(self, job: str, *, checked: bool = True) -> Iterator[Entry]:
        """Yield the job's entries in order; see `SqliteStore.entries`.

        Raises:
            JobNotFoundError: no such job.
        """
        if job not in self._jobs:
            raise JobNotFoundError(job, "memory")
        if checked:
            verify(self._jobs[job], self.salts(job))
        return iter(self._jobs[job])

    def salts(self, job: str) -> tuple[bytes | None, ...]:
        """Return the salt of each payload; see `SqliteStore.salts`.

        Raises:
            JobNotFoundError: no such job.
        """
        if job not in self._jobs:
            raise JobNotFoundError(job, "memory")
        return tuple(_salt(entry.number) for entry in self._jobs[job])

    def jobs(self) -> list[JobSummary]:
        """Return all jobs, the one last opened last."""
        return [summary(entries) for entries in self._jobs.values()]

    def latest_open(self) -> JobSummary | None:
        """Return the job that was worked on last among those still open, or None."""
        still_open = [job for job in self.jobs() if job.state == "open"]
        return max(still_open, key=lambda job: job.last_entry, default=None)

    def new_job_id(self, at: datetime) -> str:
        """Return an unused id that can be read out and typed; see `SqliteStore.new_job_id`."""
        return job_id(at, self._jobs.keys())


def _salt(number: int) -> bytes:
    return hashlib.sha256(str(number).encode("ascii")).digest()[:SALT_BYTES]
