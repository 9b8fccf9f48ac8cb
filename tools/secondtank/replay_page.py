"""The page of the shadow: of each comparison in the interlock table the distribution of the reading, beside its limit."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from host_sim.replay_margins import BLOCKS
from secondtank.replay_words import distance, shown
from secondtank.report import parts
from secondtank.report.frame import frame
from secondtank.report.words import duration, text

_WIDTH, _HEIGHT, _FOOT = 640, 150, 26
_MOST_BARS = 80
_STYLE = """
.shadow { display: grid; grid-template-columns: repeat(auto-fit, minmax(min(100%, 420px), 1fr)); gap: 1rem 2rem; }
.shadow figure { margin: 0; }
.shadow svg { width: 100%; height: auto; display: block; }
.shadow .bar { fill: #56B4E9; stroke: #0072B2; stroke-width: 1; }
.shadow .beyond { fill: #D55E00; stroke: #D55E00; }
.shadow .limit { stroke: var(--ink); stroke-width: 2; stroke-dasharray: 6 4; }
.shadow .axis { stroke: var(--soft); }
.shadow text { fill: var(--ink); font: 13px system-ui, "DejaVu Sans", sans-serif; }
"""


def render(shadow: dict[str, Any], logs: list[str]) -> str:
    """The page as one HTML text that needs nothing else."""
    margins = [margin for margin in shadow["margins"] if margin["nearest"] is not None]
    rows = [
        (text(row["row"]), str(row["ended_oil"]), duration(row["blocked_s"]), duration(row["alone_s"]))
        for row in shadow["rows"] if row["ended_oil"] or row["blocked_s"]
    ]  # fmt: skip
    names = ", ".join(Path(log).name for log in logs)
    head = ("interlock", "would have ended oil", "blocked entry", "was the only one")
    table = parts.table(f"{len(rows)} rows that acted", head, rows) if rows else '<p class="nolog">No row acted.</p>'
    inside = f"""<header>
<p class="kind">Logs: {text(names)}</p>
<h1>Interlocks in the shadow</h1>
<p>{duration(shadow["on_oil_s"])} on oil, {duration(shadow["on_diesel_s"])} on diesel with the engine running. What ends oil is looked at
while on oil, what blocks entry while on diesel, once a second. A limit moved to where the log's readings are rare acts rarely; whether it
then still guards is a question to the simulated car, not to a log.</p>
</header>
<section><h2>What acted</h2>
{table}
{_not_in_log(shadow)}
</section>
<section><h2>How near</h2>
<div class="shadow">{"".join(_figure(margin) for margin in margins)}</div>
</section>
{parts.CAUTIONS}"""
    return frame("Interlocks in the shadow", inside, style=_STYLE)


def _not_in_log(shadow: dict[str, Any]) -> str:
    return f"<p>Not in log: {text(', '.join(shadow['not_in_log']))}.</p>" if shadow["not_in_log"] else ""


def _figure(margin: dict[str, Any]) -> str:
    unit, limit, width = margin["unit"], margin["limit"], margin["width"]
    bins = [(at * width, seconds) for at, seconds in margin["bins"]]
    low = min(bins[0][0], limit)
    high = max(bins[-1][0] + width, limit + width)
    merged, step = _merge(bins, low, high, width)
    scale = _WIDTH / (high - low)
    top = max(seconds for _, seconds in merged)
    total = sum(seconds for _, seconds in merged)
    beyond = sum(seconds for at, seconds in bins if (at >= limit if margin["above"] else at + width <= limit))
    bars = []
    for at, seconds in merged:
        height = max(2.0, (_HEIGHT - 24) * seconds / top)
        harmful = at >= limit if margin["above"] else at + step <= limit
        bars.append(
            f'<rect class="bar{" beyond" if harmful else ""}" x="{(at - low) * scale:.1f}" y="{_HEIGHT - height:.1f}" '
            f'width="{max(1.0, step * scale - 1):.1f}" height="{height:.1f}"/>'
        )
    x = (limit - low) * scale
    side = "end" if x > _WIDTH / 2 else "start"
    comparison = f"{margin['reading'].replace('_', ' ')} {'above' if margin['above'] else 'below'} {shown(limit, unit)}"
    far = distance(abs(margin["nearest"]), unit)
    said = f"{far} away at the nearest" if margin["nearest"] >= 0 else f"{far} beyond at the most"
    caption = (
        f'<h3>{text(margin["row"])}: {margin["kind"]}</h3> <span class="unit">{text(comparison)} '
        f"{'blocks entry' if margin['kind'] == BLOCKS else 'ends oil'}; {text(said)}; "
        f"{100 * beyond / total:.1f} % of {duration(total)} beyond</span>"
    )
    return f"""<figure><figcaption>{caption}</figcaption>
<svg viewBox="0 0 {_WIDTH} {_HEIGHT + _FOOT}" role="img" aria-label="{text(margin["row"])}: seconds by reading, {text(shown(low, unit))} to \
{text(shown(high, unit))}">
{"".join(bars)}
<line class="axis" x1="0" y1="{_HEIGHT}" x2="{_WIDTH}" y2="{_HEIGHT}"/>
<line class="limit" x1="{x:.1f}" y1="4" x2="{x:.1f}" y2="{_HEIGHT}"/>
<text x="{x + (-6 if side == "end" else 6):.1f}" y="14" text-anchor="{side}">limit {text(shown(limit, unit))}</text>
<text x="0" y="{_HEIGHT + 18}">{text(shown(low, unit))}</text>
<text x="{_WIDTH // 2}" y="{_HEIGHT + 18}" text-anchor="middle">tallest bar {duration(top)}</text>
<text x="{_WIDTH}" y="{_HEIGHT + 18}" text-anchor="end">{text(shown(high, unit))}</text>
</svg></figure>
"""


def _merge(bins: list[tuple[int, int]], low: int, high: int, width: int) -> tuple[list[tuple[int, int]], int]:
    """Fewer, wider bars where there would be more than anybody can see."""
    step = width * max(1, -(-(high - low) // (width * _MOST_BARS)))
    found: dict[int, int] = {}
    for at, seconds in bins:
        place = at // step * step
        found[place] = found.get(place, 0) + seconds
    return sorted(found.items()), step
