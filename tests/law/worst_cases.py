"""The law's products at the worst case that stands beside each of them. Runs under CPython and MicroPython alike.

    python worst_cases.py FIRMWARE

Prints a line a case: the file that documents it, what it is, its result, and `small`; or `big` where MicroPython could
not have the result with its heap locked: on a 32-bit board an integer beyond 30 bits and a sign lives on the heap. The
ends of ranges are the settings' and the sensors' own. The last case is planted: one more than fits.
"""
# pyright: reportMissingImports=false, reportAttributeAccessIssue=false

import sys

sys.path.insert(0, sys.argv[1])
from changeover.followed import Follower
from changeover.inputs import Inputs
from changeover.lines import Lines
from changeover.restriction import Restriction
from changeover.rows import TABLE
from changeover.sensing import BARO, OIL, SUCTION, Channel
from changeover.settings import NORM_NAMES, NTC_NAMES, ROWS, defaults, purge_ul
from changeover.stop_advice import standing_min
from changeover.ticks import HALF_MS, MASK_MS, ticks_add, ticks_diff

try:
    import micropython
except ImportError:
    micropython = None

LEAST = {row[0]: row[3] for row in ROWS}
MOST = {row[0]: row[4] for row in ROWS}


def settings(ends: dict[str, int], *parts: str) -> dict[str, int]:
    """Defaults; whatever setting has one of `parts` in its name is at that end of its range."""
    values = defaults()
    for name in values:
        for part in parts:
            if part in name:
                values[name] = ends[name]
    return values


def steepest(ends: dict[str, int]) -> Inputs:
    """Inputs with the most units a count, their zeros at that end."""
    values = settings(MOST, "_per_kcount", "_per_count", "_trim_cdegc", "suction_absolute")
    values.update({name: ends[name] for name in values if name.endswith("_zero_counts")})
    for tank in ("oil", "diesel"):
        values[tank + "_level_full_counts"] = values[tank + "_level_zero_counts"] + 1
    for row in range(len(NTC_NAMES)):
        values[NTC_NAMES[row]] = MOST[NTC_NAMES[row]] - row
    return Inputs(values)


INPUTS = {"least": steepest(LEAST), "most": steepest(MOST)}
CHANNEL = INPUTS["least"].channel
COLDEST, HOTTEST = CHANNEL[OIL]._low, CHANNEL[OIL]._high
THICKEST = Restriction(settings(MOST, *NORM_NAMES))
THINNEST = Restriction(settings(LEAST, *NORM_NAMES))
LARGEST = settings(MOST, "path_ul", "purge_factor_permille", "flow_")
LINES = Lines(LARGEST)
SLOWEST = Follower(
    settings(MOST, "path_ul") | {"flow_measured_ul_s": LEAST["flow_measured_ul_s"]}, CHANNEL[OIL], CHANNEL[OIL]
)


def conversion(channel: Channel, counts: int):
    return lambda: channel.convert(counts)


def fill() -> int:
    LINES.fill(1000)
    return LINES.fill_ul


def purge() -> int:
    LINES.purge(1000)
    return LINES.credit_ul


def drawn(restriction: Restriction, suction_pa: int, oil_cdegc: int) -> int:
    for _ in range(30):
        restriction.second(True, suction_pa, oil_cdegc)
    return restriction._smooth_pa


def longest_trip() -> int:
    """The sum before it is halved."""
    for _ in range(16383):
        THICKEST._average(1035000)
    return THICKEST._sum_16pa


def remembered() -> int:
    """What one table taught is remembered, and the settings bring another table."""
    THINNEST.low_pa = THICKEST._smooth_pa
    return drawn(THINNEST, CHANNEL[BARO]._high, COLDEST)


def every_row() -> int:
    bits = 0
    for row in range(len(TABLE)):
        bits |= 1 << row
    return bits


CASES = [
    ("sensing", f"channel {index}, zero {end}, {counts} counts", conversion(INPUTS[end].channel[index], counts))
    for index in range(len(CHANNEL)) for end in ("least", "most") for counts in (0, 65535)
]  # fmt: skip
CASES += [
    ("settings", "purge volume", lambda: purge_ul(LARGEST)),
    ("lines", "longest tick of a fill", fill),
    ("lines", "longest tick of a purge", purge),
    ("followed", "longest window", lambda: SLOWEST._window_s + 1),
    ("restriction", "most suction", lambda: drawn(THICKEST, CHANNEL[BARO]._high - CHANNEL[SUCTION]._low, HOTTEST)),
    ("restriction", "remembered", remembered),
    ("restriction", "least suction", lambda: drawn(THICKEST, CHANNEL[BARO]._low - CHANNEL[SUCTION]._high, HOTTEST)),
    ("restriction", "longest trip", longest_trip),
    ("stop_advice", "widest span", lambda: standing_min(HOTTEST, COLDEST, COLDEST + 100, MOST["cooling_time_s"])),
    ("ticks", "forward over the wrap", lambda: ticks_diff(0, MASK_MS)),
    ("ticks", "backward over the wrap", lambda: ticks_diff(MASK_MS, 0)),
    ("ticks", "half a period", lambda: ticks_diff(HALF_MS, 0)),
    ("ticks", "added over the wrap", lambda: ticks_add(MASK_MS, HALF_MS - 1)),
    ("rows", "a bit a row", every_row),
    ("planted", "one more than fits", lambda: MASK_MS + 1),
]


def more() -> bool:
    """Try the next case; false when none is left."""
    file, what, case = CASES.pop(0)
    try:
        if micropython:
            micropython.heap_lock()
        result, size = case(), "small"
    except MemoryError:
        result, size = None, "big"
    if micropython:
        micropython.heap_unlock()
    print(f"{file}: {what}: {result}, {size}")
    return len(CASES) > 0


if __name__ == "__main__":
    while more():
        pass
