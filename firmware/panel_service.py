"""The service pages: sensors, what blocks oil and by which numbers, versions, totals, and three things to do."""

import panel_words as words
from changeover import VERSION, evidence
from changeover.law import Law
from changeover.sensing import (
    AMBIENT,
    BARO,
    COOLANT,
    DIESEL_LEVEL,
    GOOD,
    OIL,
    OIL_LEVEL,
    OIL_TANK,
    PUMP_INLET,
    SUCTION,
    SUPPLY,
)
from journal import Journal
from panel_canvas import COLUMNS, Canvas
from panel_pages import decimal

FAULTS_A_PAGE = 3
_LINE = 21  # letters
_TEMPERATURES = (COOLANT, OIL, OIL_TANK, PUMP_INLET, AMBIENT)
_OTHERS = (SUCTION, OIL_LEVEL, DIESEL_LEVEL, SUPPLY, BARO)
_UNITS = {
    "cdegc": (10, " C"), "Pa": (100, " kPa"), "permille": (1, " %"), "mV": (100, " V"), "ms": (100, " s"), "uL": (100, " mL"),
}  # fmt: skip
_KIND = ("cdegc", "cdegc", "Pa", "cdegc", "cdegc", "permille", "permille", "mV", "cdegc", "Pa")


def _title(canvas: Canvas, text: str, right: str = "") -> None:
    canvas.text(1, 0, text)
    canvas.right(COLUMNS, 0, right)
    canvas.invert(0)


def _pair(canvas: Canvas, row: int, name: str, value: str) -> None:
    canvas.text(0, row, name)
    canvas.right(COLUMNS, row, value)


def _amount(value: int, unit: str) -> str:
    tenth, suffix = _UNITS[unit]
    return decimal(value, tenth) + suffix


def sensors(canvas: Canvas, law: Law, second: bool) -> None:
    """Five analog inputs, each its value or what is wrong with it, and the contacts that are closed."""
    _title(canvas, words.TITLES[1 if second else 0])
    for row, index in enumerate(_OTHERS if second else _TEMPERATURES, 1):
        channel = law.inputs.channel[index]
        shown = _amount(channel.value, _KIND[index]) if channel.reason == GOOD else words.REASONS[channel.reason]
        _pair(canvas, row, words.CHANNELS[index], shown)
    closed = [name for name, contact in zip(words.CONTACTS, law.inputs.contact) if contact.on and name in _half(second)]
    canvas.text(0, 6, " ".join(closed[:3]))
    canvas.text(0, 7, " ".join(closed[3:]))


def _half(second: bool) -> tuple[str, ...]:
    return words.CONTACTS[4:] if second else words.CONTACTS[:4]


def blocking(law: Law) -> list[int]:
    """The rows of the interlock table that act now, the gravest first."""
    acting = law.interlocks.blocked | law.interlocks.forced
    return [row for row in range(25) if acting >> row & 1]


def faults(canvas: Canvas, law: Law, language: dict[int, tuple[str, str]], part: int) -> None:
    """Up to three rows that act, each with what was measured and its limit; `part` counts on through the others."""
    acting = blocking(law)
    parts = max((len(acting) + FAULTS_A_PAGE - 1) // FAULTS_A_PAGE, 1)
    part = min(part, parts - 1)
    _title(canvas, words.TITLES[2], "%d/%d" % (part + 1, parts))
    if not acting:
        canvas.text(0, 2, words.NOTHING_BLOCKS)
    line = 1
    for row in acting[part * FAULTS_A_PAGE : (part + 1) * FAULTS_A_PAGE]:
        forcing = law.interlocks.forced >> row & 1 == 1
        canvas.text(0, line, (words.FORCES if forcing else words.BLOCKS) + language[row][0])
        law.evidence.read(row, forcing)
        canvas.right(COLUMNS, line + 1, _numbers(law.evidence))
        line += 2


def _numbers(found: evidence.Evidence) -> str:
    if found.unit == evidence.FLAG:
        return ""
    if found.unit == evidence.REASON:
        return words.REASONS[found.measured]
    if found.unit == "count":
        return "%d / %d" % (found.measured, found.limit)
    return "%s / %s" % (decimal(found.measured, _UNITS[found.unit][0]), _amount(found.limit, found.unit))


def versions(canvas: Canvas, values: dict[str, int], settings: str, journal: Journal | None) -> None:
    """What runs, with which settings (the first half of their hash), and how the log does."""
    _title(canvas, words.TITLES[3])
    shown = [VERSION, settings[:8], words.AUTHORITIES[values["authority"]], words.LAYOUTS[values["layout"]]]
    if journal is not None:
        shown += [str(journal.boots), str(journal.dropped), str(journal.wear)]
    for row, text in enumerate(shown):
        _pair(canvas, row + 1, words.VERSIONS[row], text)


def totals(canvas: Canvas, journal: Journal | None) -> None:
    """Of the season: times, and volumes that are credited at the lowest flow, since nothing measures them."""
    _title(canvas, words.TITLES[4])
    if journal is None:
        return
    season = journal.totals
    shown = (
        _hours(season.oil_s), _hours(season.diesel_s), decimal(season.oil_ml, 100) + " L", decimal(season.purge_ml, 100) + " L",
        str(season.purges), str(season.trips),
    )  # fmt: skip
    for row, text in enumerate(shown):
        _pair(canvas, row + 1, words.TOTALS[row], text)


def _hours(seconds: int) -> str:
    return "%d:%02d h" % (seconds // 3600, seconds // 60 % 60)


def action(canvas: Canvas, number: int, note: str) -> None:
    """What to do, and what has become of it (`note`: two lines of 21 letters, longer ones go on in the next)."""
    title, text = words.ACTIONS[number]
    _title(canvas, title)
    for row, line in enumerate(text.split("\n"), 1):
        canvas.text(0, row, line)
    for row, line in enumerate(_folded(note)[:2], 6):
        canvas.text(0, row, line)


def _folded(text: str) -> list[str]:
    """Lines of at most 21 letters, broken between words."""
    lines = []
    for line in text.split("\n"):
        lines.append("")
        for word in line.split(" "):
            if lines[-1] and len(lines[-1]) + 1 + len(word) > _LINE:
                lines.append("")
            lines[-1] = (lines[-1] + " " + word if lines[-1] else word)[:_LINE]
    return lines
