"""One writer a log: a lock beside the file, which the system drops when its holder dies."""

from __future__ import annotations

import fcntl
import os
from typing import TYPE_CHECKING

from companion.errors import StoreError
from companion.joblog.sqlite_errors import in_our_words

if TYPE_CHECKING:
    from pathlib import Path


class WriterLock:
    """Held from construction until `release`, or until the process ends, however it ends.

    Args:
        log: the job log; the lock is the file of that name with '.lock' added.

    Raises:
        StoreError: another process (or another store in this one) holds it.
        StoreFullError: the folder cannot be written to.
    """

    def __init__(self, log: Path) -> None:
        self._path = log.with_name(f"{log.name}.lock")
        with in_our_words(log):
            self._descriptor = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
            try:
                fcntl.flock(self._descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError as exc:
                raise self._held(log) from exc
            except OSError:
                self.release()
                raise
        self._sign()

    def _held(self, log: Path) -> StoreError:
        """Return the error that says who holds it."""
        holder = os.read(self._descriptor, 20).decode("ascii", "replace").strip()
        self.release()
        return StoreError(
            f"Another companion is working on this log (process {holder or 'unknown'})",
            "Finish there, or choose another with --log.",
            where=str(log),
        )

    def _sign(self) -> None:
        """Write who holds it, for the message above; on a full disk the lock holds unsigned."""
        try:
            os.ftruncate(self._descriptor, 0)
            os.pwrite(self._descriptor, str(os.getpid()).encode("ascii"), 0)
        except OSError:
            pass

    def release(self) -> None:
        """Let another writer in; a second call does nothing."""
        if self._descriptor >= 0:
            os.close(self._descriptor)
            self._descriptor = -1
