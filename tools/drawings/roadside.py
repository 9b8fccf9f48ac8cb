"""What lamps and messages mean, from the firmware's own patterns and words."""

from __future__ import annotations

from changeover import messages, panel_logic, rows
from drawings.markdown import table
from lamp_patterns import LampPatterns

_TICK_S = 0.1
_WATCHED_TICKS = 140


def blinks_a_second(lamp: str) -> float:
    """How often a blinking lamp comes on in a second, counted."""
    patterns = LampPatterns()
    was, rises = True, 0
    for _ in range(_WATCHED_TICKS):
        blink = panel_logic.BLINK
        patterns.step(blink, blink, blink, panel_logic.SILENT)
        lit = getattr(patterns, lamp)
        rises += lit and not was
        was = lit
    return rises / (_WATCHED_TICKS * _TICK_S)


def lamp_page() -> str:
    """The three lamps."""
    red, amber, green = (f"blinks {blinks_a_second(lamp):.1f} times a second" for lamp in ("red", "amber", "green"))
    return table(
        ["lamp", "it", "means", "do"],
        [
            ("red, top", red, "something grave, see below", "selector to DIESEL"),
            ("amber, middle", "steady", "a warning, or you may do something", "read the display"),
            ("amber, middle", amber, "purging: diesel pushes the oil out", "keep the engine running"),
            ("green, bottom", "steady", "on oil", "purge before a long stop"),
            ("green, bottom", green, "changing over to oil", "-"),
            ("all dark, key on", "-", "board without power: the car is a diesel car", "selector to DIESEL, look at F1"),
        ],
    )


_LOOK = {
    rows.SETTINGS: "drive on diesel; settings at home",
    rows.STARVED: "stop safely; filter, tap, kinked hose, then bleed",
    rows.SUPPLY_LOW: "alternator belt, battery clamps",
    rows.SUPPLY_VALVE: "pull F2; if it still stays on oil, drive home without letting the engine cool",
    rows.RETURN_VALVE: "F3 out; watch both tanks' levels",
    rows.NO_ROOM: "stop before it spills; take oil out, hot oil burns",
    rows.AIR: "oil level, hose clamps, tap; then bleed",
    rows.MEMORY: "drive on diesel; the board at home",
    rows.CHATTER: "drive on diesel; coolant, filter, wiring at home",
    messages.OIL_LEFT: "start now and purge, or let it be warmed before the next start",
    messages.PURGE_CUT: "start now and purge, or let it be warmed before the next start",
}  # fmt: skip


def listed() -> list[int]:
    """Messages that make the red lamp blink, and the one of a tank that may spill."""
    return [
        message
        for message in sorted(messages.ENGLISH)
        if messages.severity(message) == messages.GRAVE or message == rows.NO_ROOM
    ]


def message_page() -> str:
    """What the display says, and what to do. Raises KeyError for a grave message without advice."""
    return table(["display", "do"], ((f"**{messages.ENGLISH[message][0]}**", _LOOK[message]) for message in listed()))
