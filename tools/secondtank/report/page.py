"""The page: verdict first, what it was made from in a fold, panels on one time axis, tables, cautions."""

import json
import os
from html import escape
from pathlib import Path
from typing import Any

from plotly.offline import get_plotlyjs

from host_sim.errors import InputError
from secondtank.report import parts
from secondtank.report.axis import TimeAxis
from secondtank.report.frame import frame, resource
from secondtank.report.panels import (
    FAINT_DOTS,
    INK,
    LAST_PANELS,
    PANELS,
    STRIP_TITLES,
    Panel,
    figure,
    in_words,
    known,
    strip_figure,
    strip_in_words,
)
from secondtank.report.words import NOT_IN_LOG, duration, text
from secondtank.report_data import STRIPS, DriveRecord

# The browser itself refuses whatever would fetch from another host.
_POLICY = "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data: blob:"
_DASHES = {
    "solid": "",
    "dot": "2 3",
    "dash": "7 4",
    "longdash": "12 5",
    "dashdot": "8 3 2 3",
    "longdashdot": "12 3 2 3",
    FAINT_DOTS: "1 4",
}


def write_report(path: Path, drive: DriveRecord) -> None:
    """Writes the report of a drive to `path`: whole or not at all.

    Raises InputError where the file cannot be written or where the series do not fit together.
    """
    page = render(drive)
    unfinished = path.with_name(path.name + ".part")
    try:
        unfinished.write_text(page, encoding="utf-8")
        os.replace(unfinished, path)
    except OSError as error:
        raise InputError(str(path), error.strerror or str(error), "a file in a folder that can be written") from error


def render(drive: DriveRecord) -> str:
    """The report as one HTML text. Raises InputError where a series is not as long as its time."""
    axis = _axis(drive)
    figures: list[dict[str, Any]] = []

    def draw(panel: Panel) -> str:
        drawn = figure(panel, drive, axis)
        if drawn:
            figures.append(drawn)
        elif not panel.needed:
            return ""
        return _panel(panel, drive, bool(drawn))

    body = [draw(panel) for panel in PANELS]
    for key in STRIPS:
        drawn = strip_figure(key, drive.strips.get(key, []), axis)
        if drawn:
            figures.append(drawn)
        body.append(_strip(key, drive))
    body += [draw(panel) for panel in LAST_PANELS]

    data = {
        "clock": [round(t, 1) for t in axis.clock_s],
        "axis": [round(x, 1) for x in axis.axis_s],
        "breaks": [
            [round(axis.to_axis(t0), 1), round(axis.to_axis(t1), 1), f"// parked {duration(parked_s)}"]
            for t0, t1, parked_s in axis.breaks
        ],
        "changes": [round(axis.to_axis(row["time_s"]), 1) for row in drive.summary.get("transitions") or []],
        "figures": figures,
    }
    title = drive.summary.get("title") or "A drive on two fuels"
    main = f"""<header>
<p class="kind">Report of a drive on two fuels</p>
<h1>{text(title)}</h1>
{parts.verdict(drive)}
{parts.figures_at_a_glance(drive)}
{parts.notes(drive)}
{parts.made_from(drive)}
</header>
<section aria-labelledby="h-drive">
<h2 id="h-drive">The drive</h2>
{_controls(axis)}
{"".join(body)}
</section>
<section aria-labelledby="h-events">
<h2 id="h-events">Events, and the numbers that decided</h2>
{parts.events(drive)}
</section>
<section aria-labelledby="h-hazards">
<h2 id="h-hazards">Hazards</h2>
{parts.hazards(drive)}
</section>
{parts.CAUTIONS}"""
    after = f"""<noscript><p>The panels need JavaScript, which stands in this file; without it the tables still hold.</p></noscript>
<script type="application/json" id="drive-data">{_json(data)}</script>
<script>{get_plotlyjs()}</script>
<script>
{resource("page.js")}
</script>
"""
    return frame(f"{parts.verdict_word(drive)}: {title}", main, after=after, policy=_POLICY)


def _json(data: object) -> str:
    """JSON that no browser can take for the end of its script element."""
    return json.dumps(data, separators=(",", ":"), ensure_ascii=False, allow_nan=False).replace("<", "\\u003c")


def _axis(drive: DriveRecord) -> TimeAxis:
    times = drive.series.get("t_s") or []
    for i, t in enumerate(times):
        if t is None or (i and t < (times[i - 1] or 0.0)):
            raise InputError(f"series t_s, sample {i}", t, "a time not before the one above it")
    for name, values in drive.series.items():
        if values and len(values) != len(times):
            raise InputError(f"series {name}", f"{len(values)} samples", f"{len(times)} samples, as many as t_s")
    bars = [bar for strip in drive.strips.values() for bar in strip]
    ends = [t for t in times if t is not None] + [bar[1] for bar in bars]
    starts = [t for t in times[:1] if t is not None] + [bar[0] for bar in bars]
    parked = [(bar[0], bar[1]) for bar in drive.strips.get("state", []) if bar[2] == "PARKED"]
    return TimeAxis.over(min(starts, default=0.0), max(ends, default=1.0), parked)


def _controls(axis: TimeAxis) -> str:
    n = len(axis.breaks)
    broken = f" {n} long parked {'stretch is' if n == 1 else 'stretches are'} drawn narrow, marked //." if n else ""
    return f"""<p class="how">Time runs from the start of the record, hours:minutes.{broken}
Thin upright lines are changes of state.</p>
<div class="controls" role="group" aria-label="Time shown in all panels">
<button type="button" data-zoom="in">Zoom in</button>
<button type="button" data-zoom="out">Zoom out</button>
<button type="button" data-zoom="left" aria-label="Earlier">&#9664;</button>
<button type="button" data-zoom="right" aria-label="Later">&#9654;</button>
<button type="button" data-zoom="all">Whole drive</button>
</div>
"""


def _sample(color: str, dash: str, width: float) -> str:
    return (
        '<svg class="sample" width="34" height="10" aria-hidden="true"><line x1="1" y1="5" x2="33" y2="5" '
        f'style="stroke:var(--c{color[1:]},{color})" stroke-width="{width}" stroke-dasharray="{_DASHES[dash]}"/></svg>'
    )


def _panel(panel: Panel, drive: DriveRecord, drawn: bool) -> str:
    unit = f' <span class="unit">{panel.unit}</span>' if panel.unit else ""
    items, missing = [], []
    for line in panel.lines:
        if known(drive, line.series):
            items.append(f"<li>{_sample(line.color, line.dash, line.width)}{line.label}</li>")
        else:
            missing.append(line.label)
    for limit in panel.limits:
        value = drive.thresholds.get(limit.threshold)
        if value is None:
            missing.append(limit.label)
        else:
            items.append(f"<li>{_sample(INK, limit.dash, 1)}{limit.label}: {value:g}</li>")
    if panel.band and drawn and all(drive.thresholds.get(name) is not None for name in panel.band[:2]):
        items.append(f'<li><span class="band-sample"></span>{panel.band[2]}</li>')
    if missing:
        items.append(f'<li class="missing">{NOT_IN_LOG}: {", ".join(missing)}</li>')
    plot = (
        f'<div class="plot" id="plot-{panel.key}" role="img" aria-label="{escape(in_words(panel, drive))}" '
        f'style="height:{panel.height}px"></div>'
        if drawn
        else f'<p class="nolog">{panel.title}: {NOT_IN_LOG}.</p>'
    )
    return f"""<figure class="panel" id="panel-{panel.key}">
<figcaption><h3>{panel.title}{unit}</h3><ul class="key">{"".join(items)}</ul></figcaption>
{plot}
</figure>
"""


def _strip(key: str, drive: DriveRecord) -> str:
    if key not in drive.strips:
        inside = f'<p class="nolog">{NOT_IN_LOG.capitalize()}.</p>'
    elif not drive.strips[key]:
        inside = '<p class="nolog">None in this drive.</p>'
    else:
        words = escape(strip_in_words(key, drive.strips[key]))
        inside = f'<div class="plot" id="plot-{key}" role="img" aria-label="{words}"></div>'
    return f"""<figure class="panel strip" id="panel-{key}">
<figcaption><h3>{STRIP_TITLES[key]}</h3></figcaption>
{inside}
</figure>
"""
