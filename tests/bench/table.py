"""What the bench prints: bars with what was measured beside them, numbers as least, median and most of their rounds."""

from __future__ import annotations

import statistics
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, field

WIDTH = 118
_COLUMNS = (4, 47, 52, 9)


@dataclass(frozen=True)
class Spread:
    """Least, median and most of some rounds."""

    low: float
    median: float
    high: float
    rounds: int

    def __str__(self) -> str:
        return f"{figure(self.median)} ({figure(self.low)} to {figure(self.high)} in {self.rounds} rounds)"


def spread(values: Sequence[float]) -> Spread:
    """The spread of the rounds' values."""
    return Spread(min(values), statistics.median(values), max(values), len(values))


def figure(value: float) -> str:
    """Three digits that count, without exponent for what a reader meets here."""
    return f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.3g}"


@dataclass(frozen=True)
class Bar:
    """`met` None: not measured here, or nothing to meet (`no_bar`). `numbers` go into the JSON file."""

    bar: str
    asks: str
    measured: str
    met: bool | None
    numbers: dict[str, object] = field(default_factory=dict)
    no_bar: bool = False

    @property
    def verdict(self) -> str:
        """One word or two."""
        if self.no_bar:
            return "no bar"
        return "not here" if self.met is None else "met" if self.met else "NOT MET"


def printed(bars: Sequence[Bar]) -> str:
    """The table as plain text."""
    lines = [*_row(("bar", "what it asks", "what was measured", "")), "-" * WIDTH]
    for bar in bars:
        lines += _row((bar.bar, bar.asks, bar.measured, bar.verdict))
    return "\n".join(lines)


def _row(cells: tuple[str, str, str, str]) -> list[str]:
    wrapped = [textwrap.wrap(cell, width) or [""] for cell, width in zip(cells, _COLUMNS, strict=True)]
    height = max(len(cell) for cell in wrapped)
    return [
        "  ".join(
            (cell[line] if line < len(cell) else "").ljust(width) for cell, width in zip(wrapped, _COLUMNS, strict=True)
        ).rstrip()
        for line in range(height)
    ]


def shares(title: str, rows: Sequence[tuple[str, float]], unit: str) -> str:
    """A list of parts with their share of the whole."""
    whole = sum(value for _, value in rows)
    lines = [title]
    for name, value in rows:
        lines.append(f"  {name:<52}{value:>9.2f} {unit}{100.0 * value / whole:>7.1f} %")
    return "\n".join([*lines, f"  {'all':<52}{whole:>9.2f} {unit}"])
