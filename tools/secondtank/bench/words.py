"""What the bench says, as HTML: every word that came from outside is escaped here."""

from __future__ import annotations

from html import escape

from changeover import messages, rows
from changeover.messages import ENGLISH
from changeover.panel_logic import BLINK, INSISTENT, REPEATED, SHORT
from host_sim.link_client import Telemetry
from secondtank.bench.mirror import Reason
from secondtank.bench.view import LOST, TALKING, View

STATE_WORDS = {
    "PARKED": "key off",
    "ON_DIESEL": "the engine draws diesel",
    "FILLING": "changing over to oil",
    "ON_OIL": "the engine draws oil",
    "PURGING": "diesel pushes the oil out",
    "RUN_ON": "purging with the key off",
}
CONTACTS = (
    "key", "engine runs", "selector READY", "button", "supply valve on oil", "return valve on oil", "parking brake on",
    "gear in neutral", "bonnet closed", "lights on",
)  # fmt: skip
_SOUNDS = {SHORT: "one beep", REPEATED: "a beep a second", INSISTENT: "insistent"}


def picture(buffer: bytes, said: str) -> str:
    """The display's 128 x 64 dots as one path; `said`: the same for ears."""
    path = []
    for y in range(64):
        row, bit = buffer[128 * (y // 8) : 128 * (y // 8) + 128], 1 << y % 8
        x = 0
        while x < 128:
            end = x
            while end < 128 and row[end] & bit:
                end += 1
            if end > x:
                path.append(f"M{x} {y}h{end - x}v1h-{end - x}z")
            x = end + 1
    return (
        f'<svg viewBox="0 0 128 64" shape-rendering="crispEdges" role="img" aria-label="{escape(said)}">'
        f'<path d="{"".join(path)}"/></svg>'
    )


def message(row: Telemetry | None) -> str:
    """What the panel says, in a line."""
    if row is None:
        return "nothing: no board"
    head, text = ENGLISH[row.message]
    return f"{head}: {text}".replace("\n", " ")


def headline(view: View) -> tuple[str, str]:
    """(class, sentence): is oil allowed, and what it waits for."""
    row = view.row
    if row is None:
        return "soft", "Not known"
    if row.state in ("FILLING", "ON_OIL"):
        return "ok", "On oil, and nothing ends it"
    if row.message in (messages.OIL_READY, messages.ASK_AGAIN, messages.OIL_WARM):
        return "ok", "Oil is allowed"
    if row.state in ("PARKED", "RUN_ON"):
        return "soft", "Key off: nothing is asked"
    if not view.reasons:
        return "ok", "Oil is allowed"
    waits = [reason.wait_s for reason in view.reasons]
    if None not in waits:
        return "warn", f"Not yet: waits {max(wait for wait in waits if wait is not None):.0f} s"
    return "warn", "Oil is not allowed"


def reasons(view: View) -> str:
    """What acts now, each with its numbers."""
    if view.row is None:
        return ""
    on_oil = view.row.state in ("FILLING", "ON_OIL")
    items = [
        _reason(reason) for reason in view.reasons if not (on_oil and reason.row == rows.LINES and not reason.ends)
    ]
    if not items:
        return '<p class="soft">No row of the interlock table acts.</p>'
    return f'<ul class="rows">{"".join(items)}</ul>'


def _reason(reason: Reason) -> str:
    wait = "" if reason.wait_s is None else f" <b>waits {reason.wait_s:.0f} s</b>"
    kind = ("ends", "ends oil") if reason.ends else ("blocks", "blocks entry")
    return f'<li class="{kind[0]}"><span class="soft">{kind[1]}:</span> {escape(reason.text)}{wait}</li>'


def lamps(row: Telemetry | None) -> str:
    """Three lamps and the buzzer; blinking as fast as on the board, and said in words, too."""
    parts = []
    for name in ("red", "amber", "green"):
        pattern = row.out[name] if row else 0
        blink = ("fast" if name == "red" else "slow") if pattern == BLINK else ""
        said = "dark" if not pattern else f"blinks {blink}" if blink else "steady"
        parts.append(f'<div class="lamp {name} {blink} {"lit" if pattern else ""}"><i></i>{name}: {said}</div>')
    sound = row.out["buzzer"] if row else 0
    how = {REPEATED: "each", INSISTENT: "fast"}.get(sound, "")
    said = _SOUNDS.get(sound, "silent")
    parts.append(f'<div class="lamp sounds {how} {"lit" if sound else ""}"><i></i>buzzer: {said}</div>')
    return f'<div class="lamps">{"".join(parts)}</div>'


def outputs(view: View) -> str:
    """Valves and relays."""
    row = view.row
    if row is None:
        return '<p class="soft">No board: valves without current stand on diesel.</p>'
    masked = " (wish only: the bench never drives it)" if view.owner else ""
    facts = (
        ("supply valve", "OIL" if row.out["supply"] else "diesel"),
        ("return valve", "OIL" if row.out["return"] else "diesel"),
        ("filter heater", ("on" + masked) if row.out["heater"] else "off"),
        ("run-on relay", ("on" + masked) if row.out["run_on"] else "off"),
    )
    return facts_list(facts)


def facts_list(facts: tuple[tuple[str, str], ...]) -> str:
    """Names and values."""
    return (
        f'<dl class="facts">{"".join(f"<dt>{escape(name)}</dt><dd>{escape(text)}</dd>" for name, text in facts)}</dl>'
    )


def link(view: View) -> tuple[str, str]:
    """(class, words) of the connection."""
    if view.link == TALKING:
        return "ok", f"connected: {view.port}"
    return ("bad", f"no board: {view.why}") if view.link == LOST else ("warn", f"{view.link} ...")


def caution(text: str) -> str:
    """A caution, where the danger is."""
    return f'<div class="caution"><b>Caution.</b> {escape(text)}</div>'
