"""A stop's answer in words and as a page."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from host_sim.standing import in_wind
from secondtank import oil_page
from secondtank.oil_figure import BLUE, INK, Axis, Figure

if TYPE_CHECKING:
    from secondtank.stop import StopAnswer

CAUTIONS = (
    "A forecast from a few stops, or from common practice, of one part where one sensor sits. A colder corner of the line, a gust, a hill that "
    "drains the hose make it shorter. At the first hard start, purge before every stop and log it.",
    "Purge outdoors: a running engine fills a closed space with carbon monoxide. No unattended running engine, no hot car over dry grass.",
)


def as_text(answer: StopAnswer, written: list[str]) -> str:
    """What the terminal shows."""
    lines = [verdict(answer)]
    stands = answer.stands
    lines.append(
        f"  oil {answer.oil_c:.0f} degC, outside {answer.ambient_c:.0f} degC, wind {answer.wind_km_h:.0f} km/h, "
        f"start on oil from {answer.restart_c:.1f} degC"
    )
    lines.append(
        f"  it may be there from {answer.clock(stands.earliest)} ({stands.earliest} min) to {answer.clock(stands.latest)} ({stands.latest} min)"
    )
    lines.append(f"  {_from(answer)}")
    if abs(answer.board_min - stands.minutes) > 1:
        lines.append(
            f"  ! the board says {answer.board_min} min: it knows neither this wind nor these stops until --write puts them into its settings"
        )
    if not answer.purge:
        lines.append("  ! the whole time without starting the engine; in doubt, purge: diesel can always wait")
    return "\n".join([*lines, *(f"  settings: {line}" for line in written)])


def verdict(answer: StopAnswer) -> str:
    """The answer in a line."""
    minutes = answer.stands.minutes
    if answer.purge:
        return f"Purge before you stop: {minutes} min is too short to rely on."
    return f"May stand {minutes} min: back by {answer.clock(minutes)}, or purge first."


def as_page(answer: StopAnswer) -> str:
    """The page: how the oil cools, on the clock."""
    stands = answer.stands
    body = oil_page.facts(
        [
            ("may stand", f"{stands.minutes} min"),
            ("back by", answer.clock(stands.minutes)),
            ("too cold at the earliest", answer.clock(stands.earliest)),
            ("at the latest", answer.clock(stands.latest)),
            ("start on oil from", f"{answer.restart_c:.1f} degC"),
        ]
    )
    body += oil_page.drawing(
        as_svg(answer), "Shaded: from the worst to the best cooling that was seen. The worst decides."
    )
    body += oil_page.notes([_from(answer)])
    return oil_page.page("How long may it stand?", "A stop on oil", verdict(answer), body, CAUTIONS, not answer.purge)


def as_svg(answer: StopAnswer) -> str:
    """Oil temperature after parking."""
    stands, cooling = answer.stands, answer.cooling
    longest = max(60, 30 * math.ceil(1.3 * stands.latest / 30))
    step = max(10, 10 * math.ceil(longest / 90))
    grid = [longest * i / 100 for i in range(101)]

    def cools(cooling_s: float) -> list[tuple[float, float]]:
        tau_min = in_wind(cooling_s, answer.wind_km_h) / 60.0
        lead_k = answer.oil_c - answer.ambient_c
        return [(m, answer.ambient_c + lead_k * math.exp(-m / tau_min)) for m in grid]

    worst, best = cools(cooling.worst_s), cools(cooling.best_s)
    low = 10 * math.floor(min(worst[-1][1], answer.restart_c) / 10)
    high = 10 * math.ceil(max(answer.oil_c, answer.restart_c) / 10)
    figure = Figure(
        Axis("time of day", 0, longest, [(m, answer.clock(m)) for m in range(0, longest + 1, step)]),
        Axis("oil, °C", low, max(high, low + 10), [(t, str(t)) for t in range(low, max(high, low + 10) + 1, 10)]),
        "Oil temperature in the standing car",
        height=360.0,
    )
    figure.bands.append((worst, best))
    figure.lines += [(best, INK, "7 3"), (worst, BLUE, "")]
    figure.levels.append((answer.restart_c, f"start on oil from {answer.restart_c:.1f}"))
    figure.marks.append((stands.minutes, f"back by {answer.clock(stands.minutes)}"))
    return figure.svg()


def _from(answer: StopAnswer) -> str:
    cooling = answer.cooling
    worst, best = (in_wind(seconds, answer.wind_km_h) / 60.0 for seconds in (cooling.worst_s, cooling.best_s))
    source = (
        f"the worst and the best of {cooling.stops} logged stops"
        if cooling.stops
        else "the settings and common practice"
    )
    return f"time constant {worst:.0f} min, at best {best:.0f} min, from {source}; the forecast may be 2 K off"
