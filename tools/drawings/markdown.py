"""Tables as Markdown."""

from __future__ import annotations

from collections.abc import Iterable, Sequence


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table, a newline at its end; bars within cells are escaped."""
    lines = [head, ["---"] * len(head), *rows]
    return "".join("| " + " | ".join(cell.replace("|", "\\|") for cell in line) + " |\n" for line in lines)
