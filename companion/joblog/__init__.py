"""The job log: durable, append-only, exportable."""

from companion.joblog.memory import MemoryStore
from companion.joblog.opening import default_path
from companion.joblog.sounds import SoundFolder
from companion.joblog.store import SqliteStore
from companion.joblog.summary import JobSummary

__all__ = ["JobSummary", "MemoryStore", "SoundFolder", "SqliteStore", "default_path"]
