"""Writes the pages of docs/ that are made from tables, and the tables of hardware_notes/: `python tools/tables.py`. Tests compare."""

from __future__ import annotations

import sys
from pathlib import Path

from changeover import messages, rows
from changeover.sensing import DIESEL_LEVEL, OIL_LEVEL, PUMP_INLET, SUPPLY
from changeover.settings import NORM_NAMES, NTC_NAMES, ROWS
from changeover.settings_help import meaning
from drawings import pages
from host_sim.catalogue import CATALOGUE
from host_sim.hazards import NAMES
from secondtank import fault_words

DOCS = Path(__file__).parent.parent / "docs"

_INPUTS = {
    1 << SUPPLY: "supply voltage", 1 << OIL_LEVEL: "oil level", 1 << DIESEL_LEVEL: "diesel level", 1 << PUMP_INLET: "pump-inlet NTC",
    rows.FIT_SUPPLY_CONTACT: "supply valve's contact", rows.FIT_RETURN_CONTACT: "return valve's contact",
    rows.FIT_HEATER: "filter heater",
}  # fmt: skip


def _needs(mask: int) -> str:
    return " or ".join(name for bit, name in _INPUTS.items() if mask & bit) or "always guarded"


def _hold(block_ms: int, force_ms: int, clear_ms: int) -> str:
    return " / ".join(f"{ms / 1000:g} s" for ms in (block_ms, force_ms, clear_ms))


def _row(*cells: str) -> str:
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |\n"


def interlocks() -> str:
    """The interlock table for people."""
    text = (
        "# The interlock table\n\n"
        "Made by `python tools/tables.py` from `firmware/changeover/rows.py`; do not edit. The gravest stand first: where several act, the\n"
        "upper one is shown and logged. Holds: until it blocks entry / until it forces the way back to diesel / until it clears. Latched\n"
        "rows clear at the next key-on. A row whose input is not fitted is not guarded.\n\n"
    )
    text += _row(
        "no",
        "name",
        "guarded with",
        "blocks entry when",
        "forces exit when",
        "holds",
        "ends in",
        "driver reads",
        "against",
    )
    text += _row(*["---"] * 9)
    for number, row in enumerate(rows.TABLE):
        head, action = messages.ENGLISH[number]
        text += _row(
            str(number), row[rows.NAME], _needs(row[rows.NEEDS]), f"`{row[rows.BLOCKS]}`", f"`{row[rows.FORCES]}`",
            _hold(row[rows.BLOCK_MS], row[rows.FORCE_MS], row[rows.CLEAR_MS]) + (", latched" if row[rows.LATCH] else ""),
            "" if row[rows.FORCES] == "never" else "ON_DIESEL" if row[rows.AFTER] == rows.TO_DIESEL else "PURGING",
            f"{head}: {' '.join(action.split())}",
            f"{row[rows.HAZARD]}, {NAMES[row[rows.HAZARD]]}",
        )  # fmt: skip
    return text


def settings() -> str:
    """The settings for people."""
    text = (
        "# The settings\n\n"
        "Made by `python tools/tables.py` from `firmware/changeover/settings.py`; do not edit. Whole numbers; the unit ends the name. Change\n"
        "one for a drive by `--set NAME=VALUE`, or keep a profile: a TOML file with a table `[settings]` of what differs from the defaults.\n\n"
    )
    text += _row("name", "unit", "default", "from", "to", "smaller means", "larger means") + _row(*["---"] * 7)
    for name, unit, default, low, high in ROWS:
        if name in NTC_NAMES[1:] or name in NORM_NAMES[1:]:
            continue  # one row stands for the whole table
        shown = name
        if name == NTC_NAMES[0]:
            shown = f"{NTC_NAMES[0]} ... {NTC_NAMES[-1]}"
        elif name == NORM_NAMES[0]:
            shown = f"{NORM_NAMES[0]} ... {NORM_NAMES[-1]}"
        text += _row(f"`{shown}`", unit, str(default), str(low), str(high), *meaning(name))
    return text


def faults() -> str:
    """The fault catalogue for people."""
    text = (
        "# The fault catalogue\n\n"
        "Made by `python tools/tables.py` from `host_sim/catalogue.py`; do not edit. One thing breaks at a time, in any state and at any tick;\n"
        "`secondtank faults` tries each row in each state, at its first tick, in its middle and at its last, in every layout and authority,\n"
        'and ends with status 3 where a promise does not hold. Times count from when the fault can show. "May pass" names the hazards whose\n'
        "limit may be passed in spite of the law; what covers them stands beside. Beyond this grid nothing is claimed, nor for two faults at\n"
        "once. The barriers named here are copper, relays and fuses: have them fitted and inspected by someone licensed for it, by your local\n"
        "codes.\n\n"
    )
    text += _row(
        "id", "what breaks", "size", "lasts", "found by", "shows when", "on diesel within", "told within", "may pass",
        "covered by", "after",
    )  # fmt: skip
    text += _row(*["---"] * 11)
    for entry in CATALOGUE:
        text += _row(
            f"`{entry.id}`", fault_words.what_breaks(entry), fault_words.size(entry), fault_words.lasts(entry),
            fault_words.found_by(entry), fault_words.shows_when(entry), fault_words.seconds(entry.diesel_s),
            fault_words.seconds(entry.told_s), ", ".join(entry.may_pass), entry.covered_by, entry.after,
        )  # fmt: skip
    text += (
        "\n## Undetectable\n\n"
        "No interlock row finds these out, and nothing that the board reads ends them. What covers each is a margin or a barrier outside the\n"
        "board.\n\n"
    )
    text += _row("id", "covered by", "may pass") + _row(*["---"] * 3)
    for entry in fault_words.UNDETECTABLE:
        text += _row(f"`{entry.id}`", entry.covered_by, ", ".join(entry.may_pass))
    return text + "\nHazards: " + "; ".join(f"{name} {words}" for name, words in NAMES.items()) + ".\n"


PAGES = {"interlocks.md": interlocks, "settings.md": settings, "faults.md": faults}


def main() -> int:
    """Write the pages."""
    DOCS.mkdir(exist_ok=True)
    for name, page in PAGES.items():
        (DOCS / name).write_text(page(), encoding="utf-8")
    pages.write()
    return 0


if __name__ == "__main__":
    sys.exit(main())
