"""The job log: durable, append-only, exportable."""

from companion.joblog.memory import MemoryStore
from companion.joblog.store import SqliteStore, default_path
from companion.joblog.summary import JobSummary

__all__ = ["JobSummary", "MemoryStore", "SqliteStore", "default_path"]
