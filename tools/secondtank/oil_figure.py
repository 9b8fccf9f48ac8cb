"""Line drawings as SVG in the report's colours: bands, lines, marked limits. They follow the page to dark and to print."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape

Points = Sequence[tuple[float, float]]

_LEFT, _RIGHT, _TOP, _BOTTOM = 62.0, 18.0, 10.0, 46.0
_MARK_ROW = 17.0
_SIZE = 13
_WIDE = 7.4  # px that a letter of this size takes
BLUE, RED, INK, SOFT = "var(--c0072B2,#0072B2)", "var(--cD55E00,#D55E00)", "var(--ink,#1b1f24)", "var(--soft,#59616b)"
_LINE, _BAND = "var(--line,#c9ced6)", "var(--c56B4E9,#56B4E9)"


@dataclass(frozen=True)
class Axis:
    """From low to high, with (value, word) at its ticks; `log`: by decades."""

    title: str
    low: float
    high: float
    ticks: Sequence[tuple[float, str]]
    log: bool = False

    def place(self, value: float) -> float:
        """0 at low, 1 at high; what lies beyond stays at the edge."""
        value = min(max(value, self.low), self.high)
        if self.log:
            return math.log(value / self.low) / math.log(self.high / self.low)
        return (value - self.low) / (self.high - self.low)


@dataclass
class Figure:
    """Fill it, then `svg`. Marks are upright lines with a word above; levels are level lines with a word at their right end."""

    x: Axis
    y: Axis
    title: str
    width: float = 860.0
    height: float = 420.0
    bands: list[tuple[Points, Points]] = field(default_factory=list)
    lines: list[tuple[Points, str, str]] = field(default_factory=list)  # points, colour, dash
    dots: list[tuple[float, float, float]] = field(default_factory=list)  # x, lowest and highest y
    marks: list[tuple[float, str]] = field(default_factory=list)
    levels: list[tuple[float, str]] = field(default_factory=list)

    def svg(self) -> str:
        """The drawing as one SVG element that stands alone."""
        self._top = _TOP + _MARK_ROW * (len(self.marks) or 1)
        parts = [self._grid(), *map(self._band, self.bands), *map(self._level, self.levels)]
        parts += [self._mark(row, *mark) for row, mark in enumerate(sorted(self.marks))]
        parts += [self._line(*line) for line in self.lines]
        parts += [self._dot(*dot) for dot in self.dots]
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width:g} {self.height:g}" role="img" '
            f'aria-label="{escape(self.title)}" font-family="system-ui,\'DejaVu Sans\',sans-serif" font-size="{_SIZE}">'
            f"<title>{escape(self.title)}</title>{''.join(parts)}</svg>"
        )

    def _at(self, x: float, y: float) -> tuple[float, float]:
        return (
            _LEFT + self.x.place(x) * (self.width - _LEFT - _RIGHT),
            self.height - _BOTTOM - self.y.place(y) * (self.height - _BOTTOM - self._top),
        )

    def _path(self, points: Points) -> str:
        return " ".join(f"{px:.1f},{py:.1f}" for px, py in (self._at(*point) for point in points))

    def _grid(self) -> str:
        parts = []
        for value, word in self.x.ticks:
            px, bottom = self._at(value, self.y.low)
            parts.append(_stroke((px, self._top), (px, bottom), _LINE, 1))
            parts.append(_text(px, bottom + 18, word, "middle", SOFT))
        for value, word in self.y.ticks:
            left, py = self._at(self.x.low, value)
            parts.append(_stroke((left, py), (self.width - _RIGHT, py), _LINE, 1))
            parts.append(_text(left - 7, py + 4.5, word, "end", SOFT))
        middle = self._at(0.5 * (self.x.low + self.x.high), self.y.low)[0]
        parts.append(_text(middle, self.height - 6, self.x.title, "middle", SOFT))
        return "".join(parts) + _text(4, _TOP + 6, self.y.title, "start", SOFT)

    def _band(self, band: tuple[Points, Points]) -> str:
        low, high = band
        return (
            f'<polygon points="{self._path(low)} {self._path(list(reversed(high)))}" style="fill:{_BAND};opacity:0.3"/>'
        )

    def _line(self, points: Points, colour: str, dash: str) -> str:
        return f'<polyline points="{self._path(points)}" style="fill:none;stroke:{colour};stroke-width:2.4" stroke-dasharray="{dash}"/>'

    def _dot(self, x: float, low: float, high: float) -> str:
        (px, bottom), (_, top) = self._at(x, low), self._at(x, high)
        circle = f'<circle cx="{px:.1f}" cy="{0.5 * (bottom + top):.1f}" r="4" style="fill:{INK}"/>'
        return _stroke((px, bottom), (px, top), INK, 2) + circle

    def _mark(self, row: int, x: float, word: str) -> str:
        px, bottom = self._at(x, self.y.low)
        py = _TOP + _MARK_ROW * (row + 1) - 5
        ends = px + _WIDE * len(word) > self.width
        words = _text(px - 5 if ends else px + 5, py, word, "end" if ends else "start", INK)
        return _stroke((px, py - 9), (px, bottom), INK, 1.2, "5 3") + words

    def _level(self, level: tuple[float, str]) -> str:
        y, word = level
        (left, py), right = self._at(self.x.low, y), self.width - _RIGHT
        return _stroke((left, py), (right, py), RED, 1.5, "8 3") + _text(right - 4, py - 5, word, "end", RED)


def _stroke(start: tuple[float, float], end: tuple[float, float], colour: str, width: float, dash: str = "") -> str:
    return (
        f'<line x1="{start[0]:.1f}" y1="{start[1]:.1f}" x2="{end[0]:.1f}" y2="{end[1]:.1f}" '
        f'style="stroke:{colour};stroke-width:{width:g}" stroke-dasharray="{dash}"/>'
    )


def _text(x: float, y: float, words: str, anchor: str, colour: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" style="fill:{colour}">{escape(words)}</text>'
