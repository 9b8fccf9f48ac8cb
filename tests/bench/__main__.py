"""`make bench`: speed beside its bars. Nothing is asserted; the table says what was met on this machine."""

from __future__ import annotations

import json
import os
import platform
import sys
from pathlib import Path
from time import perf_counter

from tests.bench import board, compiled, controller, loop, plant, workers
from tests.bench.table import printed

_OUT = Path(__file__).resolve().parents[2] / "build" / "bench.json"


def main() -> None:
    """Measure, print, keep."""
    begun = perf_counter()
    bars, costs, kept = controller.measure()
    _say("controller measured", begun)
    bars += loop.closed_loop()
    shares, parts = loop.where_time_goes()
    bars.append(plant.measure())
    _say("closed loop and plant measured", begun)
    bars += compiled.measure()
    bars.append(board.allocation(kept))
    size_bar, sizes = board.sizes()
    bars.append(size_bar)
    bars += loop.growth()
    _say("long drives measured", begun)
    bars += workers.measure()
    took_s = perf_counter() - begun
    load = f", load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    machine = f"Python {platform.python_version()}, {platform.machine()}, {os.cpu_count()} cores{load}"
    print(f"Speed beside its bars. {machine}. One process: processor time; two: wall time.")
    print("Figures: median (least to most). Trust the ratios, which come from one round each, not the microseconds.\n")
    print("\n\n".join((printed(bars), costs, shares, sizes)))
    _OUT.parent.mkdir(parents=True, exist_ok=True)
    rows = [
        {"bar": bar.bar, "asks": bar.asks, "measured": bar.measured, "verdict": bar.verdict, **bar.numbers}
        for bar in bars
    ]
    found = {"machine": machine, "took_s": took_s, "bars": rows, "tick_parts_us": parts}
    _OUT.write_text(json.dumps(found, indent=1) + "\n", "utf-8")
    missed = sum(bar.met is False for bar in bars)
    print(f"\n{missed} bars not met; took {took_s:.0f} s; kept in build/{_OUT.name}")


def _say(what: str, begun: float) -> None:
    print(f"{what} after {perf_counter() - begun:.0f} s", file=sys.stderr, flush=True)


if __name__ == "__main__":
    main()
