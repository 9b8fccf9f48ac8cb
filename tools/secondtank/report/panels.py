"""The panels: which series, limits and strips stand in which, and what the page's script needs to draw them."""

from dataclasses import dataclass
from html import escape
from math import isfinite, log10
from typing import Any

from secondtank.report.axis import TimeAxis
from secondtank.report.thin import short, thinned
from secondtank.report.words import NOT_IN_LOG, clock
from secondtank.report_data import Bar, DriveRecord

# Okabe and Ito's palette (2008), told apart by the colour-blind; dash and width tell the lines apart in grey.
BLUE, ORANGE, GREEN, RED, PURPLE, SKY, INK = "#0072B2", "#E69F00", "#009E73", "#D55E00", "#CC79A7", "#56B4E9", "#333333"
FAINT_DOTS = "1px,4px"  # a reading over its truth hides neither


@dataclass(frozen=True)
class Line:
    """One curve. `label` stands in the key, `brief` at the line's end (if `at_end`) and where there is little room."""

    series: str
    label: str
    brief: str
    color: str
    dash: str = "solid"
    width: float = 2.0
    step: bool = False
    at_end: bool = True


@dataclass(frozen=True)
class Limit:
    threshold: str
    label: str
    brief: str
    dash: str = "dash"


@dataclass(frozen=True)
class Panel:
    key: str
    title: str
    unit: str
    height: int
    lines: tuple[Line, ...]
    limits: tuple[Limit, ...] = ()
    band: tuple[str, str, str] | None = None  # two thresholds and what lies between them
    log: bool = False
    span: tuple[float, float] | None = None  # shown whatever the data is
    names: tuple[tuple[float, str], ...] = ()  # words in place of numbers on the upright axis
    needed: bool = True  # an unneeded panel without data is left out instead of being reported as missing


def _read(series: str, what: str) -> Line:
    return Line(series, f"{what}, as the controller reads it", f"{what} read", INK, FAINT_DOTS, 1.4, at_end=False)


_POSITIONS = ((0.0, "diesel"), (1.0, "oil"))


def _valve(key: str, title: str, color: str) -> Panel:
    lines = (
        Line(f"{key}_true", "true position", "true", color, width=3.0),
        Line(f"{key}_cmd", "as commanded", "wished", INK, "dot", 1.4, step=True),
    )
    return Panel(key, title, "", 96, lines, span=(-0.15, 1.15), names=_POSITIONS)


PANELS = (
    Panel(
        "temperatures",
        "Temperatures",
        "°C",
        330,
        (
            Line("coolant_c", "coolant at the feed to the tank", "coolant", RED, "solid", 2.4),
            Line("oil_filter_c", "oil at the filter outlet", "oil, filter", BLUE, "solid", 3.2),
            Line("tank_outlet_c", "oil at the tank outlet", "oil, tank", GREEN, "dash"),
            Line("pump_inlet_c", "fuel at the pump inlet", "pump inlet", PURPLE, "dashdot"),
            Line("ambient_c", "outside air", "outside", "#777777", "longdash", 1.4),
            _read("coolant_read_c", "coolant"),
            _read("oil_read_c", "oil"),
        ),
        (
            Limit("coolant_entry_c", "coolant must reach this to change over", "coolant min", "longdashdot"),
            Limit("oil_entry_c", "oil must reach this to change over", "oil entry"),
            Limit("oil_exit_c", "oil below this: back to diesel", "oil exit"),
        ),
        band=("oil_exit_c", "oil_entry_c", "hysteresis: the fuel in use stays in use"),
    ),
    Panel(
        "suction",
        "Suction at the filter outlet",
        "kPa below ambient",
        190,
        (
            Line("suction_kpa", "suction", "suction", BLUE, width=2.4),
            _read("suction_read_kpa", "suction"),
        ),
        (
            Limit("suction_block_kpa", "blocks the next changeover", "blocks", "longdashdot"),
            Limit("suction_force_kpa", "forces back to diesel", "forces"),
            Limit("h4_kpa", "hazard H4: starvation", "H4", "solid"),
        ),
        span=(0.0, 5.0),
    ),
    _valve("supply", "Supply valve", BLUE),
    _valve("return", "Return valve", RED),
    Panel(
        "volumes",
        "Volumes in the lines",
        "mL",
        220,
        (
            Line("path_oil_worst_ml", "oil left inside, worst law", "oil, worst", RED, width=3.0),
            Line("path_oil_plug_ml", "oil left inside, plug flow", "oil, plug", ORANGE, "dash"),
            Line("fill_ml", "fill counted", "fill", GREEN, "dashdot"),
            Line("credit_ml", "purge credited", "purge", BLUE, "solid", 1.6),
        ),
        (
            Limit("fill_target_ml", "fill complete", "fill full", "dot"),
            Limit("purge_target_ml", "purge complete", "purge full"),
        ),
        span=(0.0, 50.0),
    ),
    Panel(
        "viscosity",
        "Viscosity at the injection pump",
        "mm²/s, logarithmic",
        200,
        (Line("pump_mm2_s", "what stands at the pump inlet, thickest law", "at the pump", BLUE, width=2.6),),
        (Limit("h1_mm2_s", "hazard H1: too thick", "H1", "solid"),),
        log=True,
    ),
)

# After the strips: what explains the rest, and the loop time last.
LAST_PANELS = (
    Panel("speed", "Speed", "km/h", 120, (Line("speed_kmh", "speed of the car", "speed", BLUE),), span=(0.0, 50.0)),
    Panel(
        "levels",
        "Levels in both tanks",
        "% of capacity",
        130,
        (
            Line("oil_level_pct", "oil tank", "oil", BLUE, width=2.6),
            Line("diesel_level_pct", "diesel tank", "diesel", RED, "dash"),
        ),
        span=(0.0, 100.0),
    ),
    Panel("power", "Supply voltage", "V", 120, (Line("supply_v", "at the board", "supply", BLUE),), span=(9.0, 15.0)),
    Panel(
        "tick",
        "Time of a controller step",
        "ms",
        120,
        (Line("tick_ms", "step", "step", BLUE),),
        span=(0.0, 1.0),
        needed=False,
    ),
)

STRIP_TITLES = {
    "state": "State",
    "messages": "Messages that stood",
    "faults": "Faults put in",
    "hazards": "Hazards (the truth, not the controller, decides)",
}
STATES = ("PARKED", "ON_DIESEL", "FILLING", "ON_OIL", "PURGING", "RUN_ON")
SEVERITIES = ("information", "advice", "warning", "grave")
_FILLS = (("#8a8f98", ""), (SKY, "."), (ORANGE, "/"), (RED, "x"))


def known(drive: DriveRecord, series: str) -> list[float | None]:
    """The series, or an empty list where the log does not hold it."""
    values = drive.series.get(series) or []
    return values if any(v is not None and isfinite(v) for v in values) else []


def figure(panel: Panel, drive: DriveRecord, axis: TimeAxis) -> dict[str, Any] | None:
    """What the script draws for one panel: traces in axis time, limits, upright range; None without any series."""
    present = [(line, known(drive, line.series)) for line in panel.lines]
    present = [(line, values) for line, values in present if values]
    if not present:
        return None
    x_all = [axis.to_axis(t) for t in drive.series["t_s"] if t is not None]
    traces = []
    for line, values in present:
        x, y = thinned(x_all, values)
        traces.append(
            {
                "type": "scatter",
                "mode": "lines",
                "name": line.label,
                "x": [round(v, 1) for v in x],
                "y": [short(v) for v in y],
                "connectgaps": False,
                "line": {
                    "color": line.color,
                    "dash": line.dash,
                    "width": line.width,
                    "shape": "hv" if line.step else "linear",
                },
            }
        )
    limits = [
        {"y": drive.thresholds[limit.threshold], "label": limit.brief, "dash": limit.dash}
        for limit in panel.limits
        if drive.thresholds.get(limit.threshold) is not None
    ]
    band = None
    if panel.band and all(drive.thresholds.get(name) is not None for name in panel.band[:2]):
        band = [drive.thresholds[name] for name in panel.band[:2]]
    shown = (
        [v for trace in traces for v in trace["y"] if v is not None]
        + [limit["y"] for limit in limits]
        + list(panel.span or ())
    )
    return {
        "id": f"plot-{panel.key}",
        "kind": "lines",
        "height": panel.height,
        "traces": traces,
        "briefs": [line.brief for line, _ in present],
        "at_end": [line.at_end for line, _ in present],
        "limits": limits,
        "band": band,
        "log": panel.log,
        "range": _range(shown, panel),
        "names": panel.names,
    }


def _range(shown: list[float], panel: Panel) -> list[float]:
    """The upright range with a little air; in decades where the axis is logarithmic."""
    if panel.names and panel.span:
        return list(panel.span)
    low, high = min(shown), max(shown)
    if panel.log:
        low, high = log10(max(low, 0.1)), log10(max(high, 0.1))
    air = 0.06 * ((high - low) or 1.0)
    return [low if panel.span and low == panel.span[0] == 0.0 else round(low - air, 4), round(high + air, 4)]


def strip_figure(key: str, bars: list[Bar], axis: TimeAxis) -> dict[str, Any] | None:
    """What the script draws for a strip: a lane a name, bars in axis time, filled by severity; None if empty."""
    if not bars:
        return None
    first_seen = dict.fromkeys(bar[2] for bar in sorted(bars))
    names = (
        [n for n in STATES if n in first_seen] + [n for n in first_seen if n not in STATES]
        if key == "state"
        else list(first_seen)
    )
    lane = {name: i for i, name in enumerate(names)}
    traces = []
    for severity, (color, pattern) in enumerate(_FILLS):
        chosen = [bar for bar in bars if min(max(bar[3], 0), 3) == severity]
        if not chosen:
            continue
        begins = [axis.to_axis(t0) for t0, *_ in chosen]
        traces.append(
            {
                "type": "bar",
                "orientation": "h",
                "name": SEVERITIES[severity],
                "y": [lane[bar[2]] for bar in chosen],
                "base": [round(x, 1) for x in begins],
                "x": [round(axis.to_axis(bar[1]) - x, 2) for bar, x in zip(chosen, begins, strict=True)],
                "width": 0.36,
                "offset": 0.08,
                "marker": {
                    "color": color,
                    # An outline of its own colour keeps a stretch shorter than a pixel visible.
                    "line": {"color": INK if severity == 3 else color, "width": 2 if severity == 3 else 1.5},
                    "pattern": {"shape": pattern, "size": 6, "solidity": 0.35, "fgcolor": INK, "fillmode": "overlay"},
                },
                # The plot understands a few tags of its own, so outside text is escaped for it too.
                "hovertext": [
                    f"{escape(bar[2])}<br>{clock(bar[0])} to {clock(bar[1])}"
                    + (f"<br>{escape(bar[4])}" if bar[4] else "")
                    for bar in chosen
                ],
                "hoverinfo": "text",
            }
        )
    said = {bar[2]: bar[4] for bar in bars}
    constant = {name for name in names if len({bar[4] for bar in bars if bar[2] == name}) == 1}
    labels = [[name, said[name] if name in constant and said[name] != name else ""] for name in names]
    return {"id": f"plot-{key}", "kind": "strip", "height": 28 * len(names) + 30, "traces": traces, "lanes": labels}


def in_words(panel: Panel, drive: DriveRecord) -> str:
    """The panel for who cannot see it: each line's lowest and highest value and what the log lacks."""
    parts = []
    for line in panel.lines:
        values = [v for v in known(drive, line.series) if v is not None and isfinite(v)]
        parts.append(
            f"{line.label}: {min(values):.4g} to {max(values):.4g}" if values else f"{line.label}: {NOT_IN_LOG}"
        )
    return f"{panel.title}{', ' + panel.unit if panel.unit else ''}, against time. " + "; ".join(parts) + "."


def strip_in_words(key: str, bars: list[Bar]) -> str:
    said = "; ".join(f"{bar[2]} {clock(bar[0])} to {clock(bar[1])}" for bar in sorted(bars)[:20])
    more = f"; and {len(bars) - 20} more" if len(bars) > 20 else ""
    return f"{STRIP_TITLES[key]}, against time. {said}{more}."
