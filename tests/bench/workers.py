"""Bar f, two processes: a pool of two workers beside the same drives one after another, and beside two strangers.

    python -m tests.bench.workers FIRST LAST

drives the jobs FIRST to LAST - 1 each time it reads a line, and answers with the seconds it took: one of the strangers.
"""

from __future__ import annotations

import multiprocessing
import os
import subprocess
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from time import perf_counter

from tests.bench.loop import road, started, winter
from tests.bench.table import Bar, spread

ROUNDS = 5
_JOBS = 8
_WORKERS = 2
_EFFICIENT = 0.9
_ROOT = Path(__file__).resolve().parents[2]


def job(seed: int) -> tuple[float, float]:
    """One drive of its own seed; what it burnt, to be compared between processes."""
    drive = started(winter(road(22), seed=seed))
    drive.run()
    return drive.car.oil_burnt, drive.car.diesel_burnt


class _Stranger:
    """A process of its own, nothing shared, that drives its jobs at a word."""

    def __init__(self, first: int, last: int) -> None:
        words = [sys.executable, "-m", "tests.bench.workers", str(first), str(last)]
        self.process = subprocess.Popen(words, cwd=_ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        self.hear()

    def say(self) -> None:
        """Begin."""
        assert self.process.stdin is not None
        self.process.stdin.write("\n")
        self.process.stdin.flush()

    def hear(self) -> float:
        """How many seconds the last round took."""
        assert self.process.stdout is not None
        return float(self.process.stdout.readline())

    def end(self) -> None:
        """No more rounds."""
        self.process.communicate()


def measure() -> list[Bar]:
    """The two bars, wall time."""
    asks = f"two workers, one kept pool, {ROUNDS} rounds: efficiency at least {_EFFICIENT:.0%}"
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    if cores < _WORKERS:
        return [Bar("f", asks, f"only {cores} core here", None)]
    strangers = [_Stranger(0, _JOBS // 2), _Stranger(_JOBS // 2, _JOBS)]
    alone, pooled, ceiling = [], [], []
    alike = True
    begun = perf_counter()
    with ProcessPoolExecutor(_WORKERS, multiprocessing.get_context("spawn")) as pool:
        list(pool.map(job, range(_WORKERS)))
        start_s = perf_counter() - begun
        for _ in range(ROUNDS):
            begun = perf_counter()
            one_by_one = [job(seed) for seed in range(_JOBS)]
            alone.append(perf_counter() - begun)
            begun = perf_counter()
            together = list(pool.map(job, range(_JOBS)))
            pooled.append(perf_counter() - begun)
            alike = alike and together == one_by_one
            for stranger in strangers:
                stranger.say()
            ceiling.append(max(stranger.hear() for stranger in strangers))
    for stranger in strangers:
        stranger.end()
    found = spread([a / (_WORKERS * p) for a, p in zip(alone, pooled, strict=True)])
    most = spread([a / (_WORKERS * c) for a, c in zip(alone, ceiling, strict=True)])
    of_most = spread([c / p for c, p in zip(ceiling, pooled, strict=True)])
    return [
        Bar(
            "f",
            asks,
            f"{found}; {spread(alone).median:.1f} s of serial work; results {'alike' if alike else 'DIFFER'}; "
            f"pool up and warm after {start_s:.1f} s",
            found.median >= _EFFICIENT and alike,
            {"efficiency": vars(found), "serial_s": vars(spread(alone)), "alike": alike, "pool_start_s": start_s},
        ),
        Bar(
            "f",
            "the ceiling: two unrelated processes with half of the drives each",
            f"{most}; the pool reaches {of_most.median:.0%} of it",
            None,
            {"ceiling": vars(most), "pool_over_ceiling": vars(of_most)},
            no_bar=True,
        ),
    ]


def main() -> None:
    """One of the strangers."""
    first, last = int(sys.argv[1]), int(sys.argv[2])
    print(0.0, flush=True)
    for _ in sys.stdin:
        begun = perf_counter()
        for seed in range(first, last):
            job(seed)
        print(perf_counter() - begun, flush=True)


if __name__ == "__main__":
    main()
