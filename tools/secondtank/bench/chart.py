"""The strip chart: the last minutes of what the board read, and which valves it drove."""

from __future__ import annotations

from nicegui import ui

from secondtank.bench.session import Session

_SHOWN_S = 300.0
_POINTS = 300
_GREY = "#8a949e"
_COLOURS = {
    "coolant": "#c2410c",
    "oil": "#2563eb",
    "suction": "#7c3aed",
    "supply valve": "#059669",
    "return valve": "#b45309",
}


class Chart:
    """`refresh` at most once a second: more is not seen, and costs."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._chart = ui.echart(_options()).classes("w-full").style("height: 300px")
        self._shown = 0.0

    def refresh(self, now_s: float) -> None:
        """Draw what came."""
        points = list(self._session.watcher.points)
        if now_s - self._shown < 1.0 or not points:
            return
        self._shown = now_s
        points = [point for point in points if point[0] > now_s - _SHOWN_S]
        thin = max(1, len(points) // _POINTS)
        points = points[::-thin][::-1]
        series = self._chart.options["series"]
        for place, column in enumerate((1, 2, 3, 5, 6)):
            series[place]["data"] = [[round(point[0] - now_s, 1), point[column]] for point in points]


def _options() -> dict:
    def line(name: str, grid: int, axis: int, step: bool = False) -> dict:
        return {
            "name": name, "type": "line", "xAxisIndex": grid, "yAxisIndex": axis, "showSymbol": False, "data": [],
            "step": "end" if step else False, "lineStyle": {"width": 2, "color": _COLOURS[name]},
            "itemStyle": {"color": _COLOURS[name]}, "areaStyle": {"opacity": 0.25} if step else None,
        }  # fmt: skip

    text = {"color": _GREY}
    split = {"lineStyle": {"color": _GREY, "opacity": 0.25}}
    x = {"type": "value", "min": -_SHOWN_S, "max": 0, "axisLabel": text, "splitLine": split}
    y = {"type": "value", "axisLine": {"onZero": False}, "axisLabel": text, "nameTextStyle": text, "splitLine": split}
    return {
        "animation": False,
        "backgroundColor": "transparent",
        "legend": {"textStyle": text, "top": 0},
        "tooltip": {"trigger": "axis"},
        "grid": [{"top": 52, "height": 128, "left": 46, "right": 46}, {"top": 212, "height": 40, "left": 46, "right": 46}],
        "xAxis": [
            {**x, "gridIndex": 0, "axisLabel": {"show": False}},
            {**x, "gridIndex": 1, "name": "s", "nameTextStyle": text},
        ],
        "yAxis": [
            {**y, "gridIndex": 0, "name": "\N{DEGREE SIGN}C"},
            {**y, "gridIndex": 0, "name": "kPa", "min": 0, "max": 40, "splitLine": {"show": False}},
            {**y, "gridIndex": 1, "min": 0, "max": 1, "interval": 1, "axisLabel": {"show": False}},
        ],
        "series": [
            line("coolant", 0, 0), line("oil", 0, 0), line("suction", 0, 1),
            line("supply valve", 1, 2, True), line("return valve", 1, 2, True),
        ],
    }  # fmt: skip
