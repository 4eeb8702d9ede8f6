"""The run: every engine hears every case in every cell, as far as it was not done before."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from threading import Event, Lock
from typing import TYPE_CHECKING, Any

from tqdm import tqdm

from companion.bench.hearing.moments import moment
from companion.bench.hearing.noise import CLEAN
from companion.bench.hearing.results import FAILED, Result
from companion.bench.hearing.scoring import Came, Score, scored
from companion.bench.hearing.spoken import sound
from companion.bench.hearing.worker import Ask, EngineProcess, HeardUtterance
from companion.errors import EngineError
from companion.ports import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from companion.bench.hearing.case import Case
    from companion.bench.hearing.noise import Room, Rooms
    from companion.bench.hearing.results import Results

MOST_JOBS = 2  # more of them make each other slow, and the response times wrong
Task = tuple[str, "Case"]  # the cell, and the case


@dataclass(frozen=True)
class Plan:
    """What is to be measured.

    Args:
        cases: what is said.
        cells: at which signal-to-noise ratios: 'clean', '20', …
        room: the noise, or several.
        cache: a folder for synthetic speech.
        jobs: how many processes of an engine work at once.
    """

    cases: Sequence[Case]
    cells: Sequence[str]
    room: Room | Rooms
    cache: Path
    jobs: int = 1

    def tasks(self) -> list[Task]:
        """Return what each engine hears; cases of one moment follow one another.

        A grammar that was just built is then used again, which some engines need to be bearable.
        """
        by_moment = sorted(self.cases, key=lambda case: (case.moment, case.id))
        return [(cell, case) for case in by_moment for cell in self.cells]


def measure(engine: str, plan: Plan, results: Results) -> None:
    """Let an engine hear all that it has not heard yet.

    Raises:
        EngineError: it is not installed, or its model is missing.
    """
    left = [
        (cell, case)
        for cell, case in plan.tasks()
        if not results.is_done(engine, cell, case.id, " ".join(case.words))
    ]
    if not left:
        return
    size = -(-len(left) // min(plan.jobs, MOST_JOBS))
    shares = [left[at : at + size] for at in range(0, len(left), size)]
    with tqdm(total=len(left), desc=f"{engine:16}", unit=" sounds", dynamic_ncols=True) as bar:
        run = _Run(engine, plan, results, bar)
        with ThreadPoolExecutor(len(shares)) as pool:
            at_work = [pool.submit(run.share, share) for share in shares]
            try:
                for each in at_work:
                    each.result()
            finally:
                run.stopping.set()


class _Run:
    """An engine's run: what its processes share."""

    def __init__(self, engine: str, plan: Plan, results: Results, bar: Any) -> None:  # noqa: ANN401
        self._engine, self._plan, self._results, self._bar = engine, plan, results, bar
        self._lock = Lock()
        self._right, self._in_scope = 0, 0
        self.stopping = Event()

    def share(self, tasks: Sequence[Task]) -> None:
        """Hear a share of the tasks in a process."""
        sentences = sorted({case.words for case in self._plan.cases})
        with EngineProcess(self._engine, sentences) as process:
            for cell, case in tasks:
                if self.stopping.is_set():
                    break
                result = self._heard(process, cell, case)
                with self._lock:
                    self._results.add(result)
                    self._tell(result)
            with self._lock:
                self._results.add_cost(self._engine, asdict(process.cost()))

    def _tell(self, result: Result) -> None:
        """Move the bar; it shows how many of the sentences in scope were right so far."""
        if result.addressed and result.known:
            self._in_scope += 1
            self._right += result.came == Came.RIGHT.value
            share = 100 * self._right / self._in_scope
            self._bar.set_postfix_str(f"{share:.0f} % right", refresh=False)
        self._bar.update()

    def _heard(self, process: EngineProcess, cell: str, case: Case) -> Result:
        there = moment(case.moment)
        said = sound(case, self._plan.cache)
        snr_db = None if cell == CLEAN else float(cell)
        noisy = self._plan.room.noisy(said, snr_db, case.id, case.gain_db)
        sound_s = len(noisy) / SAMPLE_RATE_HZ
        try:
            found = process.hear(Ask(there.scope, there.expect, noisy))
        except EngineError as problem:
            self._bar.write(str(problem))
            return self._result(cell, case, [], None, sound_s)
        score = scored(case, there, [each.hearing for each in found])
        return self._result(cell, case, found, score, sound_s)

    def _result(
        self,
        cell: str,
        case: Case,
        found: Sequence[HeardUtterance],
        score: Score | None,
        sound_s: float,
    ) -> Result:
        return Result(
            engine=self._engine,
            cell=cell,
            case=case.id,
            corpus=case.corpus,
            synthesis=case.synthesis,
            addressed=case.addressed,
            said=" ".join(case.words),
            came=score.came.value if score else FAILED,
            known=bool(score and score.is_known),
            value=bool(score and score.holds_value),
            taken=score.taken if score else "",
            heard=[(" ".join(h.hearing.words), round(h.hearing.match, 3)) for h in found],
            free=" / ".join(each.hearing.free for each in found),
            sound_s=round(sound_s, 2),
            response_s=round(found[-1].response_s, 4) if found else -1.0,
            moment=case.moment,
            awake=moment(case.moment).scope.awake,
            means=score.means if score else "",
            logged=list(score.logged) if score else [],
        )


def some(cases: Sequence[Case], most: int | None) -> list[Case]:
    """Return at most so many cases, taken evenly.

    Args:
        cases: any.
        most: how many; None for all of them.
    """
    if most is None or len(cases) <= most:
        return list(cases)
    return [cases[at * len(cases) // most] for at in range(most)]
