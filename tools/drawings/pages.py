"""Which page of `hardware_notes/` shows which table, and how a page is renewed."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

from drawings import cables, error_budget, feeds, roadside, wiring

FOLDER = Path(__file__).parents[2] / "hardware_notes"

TABLES: dict[str, Callable[[], str]] = {
    "pins": wiring.pin_page,
    "converter inputs": wiring.converter_page,
    "temperature errors": error_budget.temperature_page,
    "suction errors": error_budget.suction_page,
    "cables": cables.cable_page,
    "drop-out": cables.drop_out_page,
    "feeds": feeds.truth_page,
    "lamps": roadside.lamp_page,
    "grave messages": roadside.message_page,
}

_BLOCK = re.compile(r"(<!-- table (.+?): made by `python tools/tables\.py` -->\n).*?(<!-- end of table -->)", re.DOTALL)


def named(text: str) -> list[str]:
    """The tables that a page shows."""
    return [name for _, name, _ in _BLOCK.findall(text)]


def renewed(text: str) -> str:
    """The page with every table made anew. Raises KeyError for a table that nobody makes."""
    return _BLOCK.sub(lambda found: f"{found[1]}\n{TABLES[found[2]]()}\n{found[3]}", text)


def write() -> None:
    """Renew all pages."""
    for path in sorted(FOLDER.glob("*.md")):
        path.write_text(renewed(path.read_text(encoding="utf-8")), encoding="utf-8")
