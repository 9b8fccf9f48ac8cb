"""Bar b, compiled: the same drive by the build of `make fast`, beside plain Python and beside bare events."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import fast_build
from tests.bench.loop import BareEvents, seconds
from tests.bench.table import Bar, spread

ROUNDS = 5
_EVENTS = 20_000
_ROOT = Path(__file__).resolve().parents[2]
_PLAIN = (_ROOT, _ROOT / "firmware")
_ASKS = (
    "compiled, same files: at least 25,000 times real time",
    "compiled: at least 5 times the plain build of the same run",
    "compiled: a tick costs at most 5 bare events",
)


def measure() -> list[Bar]:
    """Three bars; "not built" where build/fast is missing or older than the sources."""
    if not fast_build.up_to_date():
        return [Bar("b", asks, "not built: make fast", None) for asks in _ASKS]
    bare = BareEvents()
    rows = []
    for _ in range(ROUNDS):
        plain_us, fast_us = _tick_us(_PLAIN), _tick_us((fast_build.OUT,))
        event_us = 1e6 * seconds(lambda: bare.run(_EVENTS)) / _EVENTS
        rows.append((1e5 / fast_us, plain_us / fast_us, fast_us / event_us))
    times, ratio, events = (spread(list(column)) for column in zip(*rows, strict=True))
    met = (times.median >= 25_000.0, ratio.median >= 5.0, events.median <= 5.0)
    return [
        Bar("b", asks, str(found), reached, {"spread": vars(found)})
        for asks, found, reached in zip(_ASKS, (times, ratio, events), met, strict=True)
    ]


def _tick_us(path: tuple[Path, ...]) -> float:
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(map(str, path))}
    words = [sys.executable, str(_ROOT / "tests" / "compiled" / "runs.py"), "speed"]
    with tempfile.TemporaryDirectory() as elsewhere:
        done = subprocess.run(words, cwd=elsewhere, env=environment, capture_output=True, text=True, check=True)
    return float(done.stdout.splitlines()[1])
