"""Appends to a log until it is killed, and says each acknowledged entry aloud on stdout.

Run by test_killed_writer: python writer_to_kill.py LOG JOB FIRST
"""

from __future__ import annotations

import sys
from datetime import UTC, datetime, timedelta

from companion.joblog import SqliteStore
from companion.ports import Draft

NOON = datetime(2026, 3, 4, 12, tzinfo=UTC)


def main() -> None:
    log, job, turn = sys.argv[1], sys.argv[2], int(sys.argv[3])
    say("opening")
    store = SqliteStore(log)
    while True:
        drafts = [
            Draft("reading", {"turn": turn, "part": part}, NOON + timedelta(seconds=turn))
            for part in range(1 + turn % 3)
        ]
        last = store.append(job, drafts)[-1]
        say(f"{last.number} {turn}")
        turn += 1


def say(text: str) -> None:
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
