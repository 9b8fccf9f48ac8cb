"""What a replay says: the verdict, one log's lines, what changed between two, what stood near its limit."""

from __future__ import annotations

from typing import Any

from host_sim.replay import SENSOR_REASONS
from secondtank.report.words import clock, duration

RAN, HAZARD, NOT_VALID = 0, 3, 4
_MOST_LINES = 40
_SCALES = {
    "cdegc": (100, 1, "degC"), "permille": (10, 1, "%"), "Pa": (1000, 1, "kPa"), "mV": (1000, 2, "V"), "uL": (1000, 0, "mL"),
    "ms": (1000, 1, "s"),
}  # fmt: skip


def shown(value: float, unit: str) -> str:
    """A number of the law as people read it."""
    if unit == "reason":
        return SENSOR_REASONS[int(value)] if 0 <= value < len(SENSOR_REASONS) else str(value)
    per, digits, name = _SCALES.get(unit, (1, 0, ""))
    return f"{value / per:.{digits}f} {name}".rstrip()


def distance(value: float, unit: str) -> str:
    """A difference of two such numbers: of temperatures it is in kelvin."""
    return shown(value, unit).replace("degC", "K")


def numbers(move: dict[str, Any]) -> dict[str, str]:
    """The numbers that decided a move; what they were read from may not be in the log."""
    if move["side"] == "not in log" or move["unit"] == "flag":
        return {}
    if move["unit"] == "reason":
        return {"measured": shown(move["measured"], "reason")}
    return {"measured": shown(move["measured"], move["unit"]), "limit": shown(move["limit"], move["unit"])}


def transition(move: dict[str, Any]) -> dict[str, Any]:
    """A move as the report's tables take it."""
    refused = move["from"] == move["to"]
    said = f"refused: {move['text']}" if refused else move["text"]
    return {
        "time_s": move["t_ms"] / 1000.0, "from": move["from"], "to": move["to"], "reason": move["reason"],
        "text": said if move["side"] == "comparable" else f"{said} ({move['side']})", "numbers": numbers(move),
        "forced": move["forced"], "side": move["side"], "line": move["line"],
    }  # fmt: skip


def _difference(found: dict[str, Any]) -> str:
    return (
        f"line {found['line']}, start {found['start']}, tick {found['tick_ms']} ms: {found['field']} logged {found['logged']}, "
        f"replayed {found['replayed']}"
    )


def verdict(result: dict[str, Any]) -> tuple[int, str]:
    """(exit status, the answer in one line). Status 3: a log that this very program must reproduce, and does not."""
    counters, compared = result["counters"], result["compared"]
    same_law = result["logged_firmware_hash"] == result["firmware_hash"]
    engine = duration(counters["engine_ms"] / 1000.0)
    on_oil = f"on oil {duration(counters['on_oil_ms'] / 1000.0)} of {engine} with the engine running"
    if result["own"] and compared["exact"]:
        first = compared["first"]
        joined = (
            f", and {compared['joined_same']} of {compared['joined']} behind a gap or a start unseen"
            if compared["joined"]
            else ""
        )
        if first is None:
            ticks = (
                f"{compared['exact']} ticks of {counters['starts']} {'start' if counters['starts'] == 1 else 'starts'}"
            )
            return RAN, f"reproduced bit for bit: {ticks}{joined}; {on_oil}"
        if same_law:
            return HAZARD, f"NOT reproduced: first differs at {_difference(first)}"
        by = (
            "another version of the law"
            if result["logged_firmware_hash"]
            else "a version of the law that is not in log"
        )
        return (
            NOT_VALID,
            f"not valid for a reproduction, made by {by} (--firmware gives it): first differs at {_difference(first)}",
        )
    allowed = counters["allowed_ms"] / 1000.0
    if not counters["engine_ms"]:
        return NOT_VALID, "not valid for a changeover: the engine never ran"
    if (compared["exact"] or compared["joined"]) and not result["own"]:
        return RAN, f"would be {on_oil}; in the log {duration(counters['logged_on_oil_ms'] / 1000.0)}"
    if not allowed:
        stood = sorted(result["shadow"]["rows"], key=lambda row: -row["blocked_s"])[:3]
        worth = [row for row in stood if row["blocked_s"] > 0.1 * stood[0]["blocked_s"]]
        why = ", ".join(f"{row['row']} ({duration(row['blocked_s'])})" for row in worth)
        return NOT_VALID, f"not valid for a changeover: nothing ever allowed oil in {engine}: {why or 'not asked for'}"
    first = result["first_allowed_ms"]
    since = f", first at {clock(first / 1000.0)}" if first is not None else ""
    lacking = [name for name in ("coolant", "oil", "suction") if name in result["missing"]]
    but = f", as far as the log goes: {', '.join(lacking)} not in log" if lacking else ""
    agree = (
        f"; {compared['joined_same']} of {compared['joined']} rows as logged"
        if compared["joined"] and result["own"]
        else ""
    )
    return RAN, f"oil allowed for {duration(allowed)} of {engine} with the engine running{since}{but}{agree}"


def lines(result: dict[str, Any], said: str) -> list[str]:
    """One log: the verdict, then what it rests on."""
    counters = result["counters"]
    name = result["log"].rpartition("/")[2]
    out = [f"{name}: {'partial (interrupted): ' if result['interrupted'] else ''}{said}"]
    gaps = f"{counters['gaps']} gaps, {counters['gap_ms'] / 1000:.1f} s" if counters["gaps"] else "no gap over 2 s"
    out.append(
        f"  {result['kind']}, {result['rows']} rows, {counters['ticks']} ticks, {counters['trips']} trips; {gaps}"
    )
    stale = ", ".join(f"{name} {ms / 1000:.1f} s" for name, ms in sorted(counters["stale_ms"].items())) or "0.0 s"
    out.append(
        f"  allowed but not on oil {counters['allowed_not_on_oil_ms'] / 1000:.1f} s, on oil but not allowed "
        f"{counters['on_oil_not_allowed_ms'] / 1000:.1f} s, stale {stale}"
    )
    out += [f"  {what}: {n}, first in line {line}" for what, (n, line) in result["repairs"].items()]
    faults = result["sensor_faults"]
    for fault in faults[:_MOST_LINES]:
        out.append(
            f"  {clock(fault['time_s'], tenths=True)} line {fault['line']}: {fault['sensor']} not trusted, {fault['reason']}"
        )
    if not faults:
        out.append("  no sensor lost trust")
    out += [f"  {note}" for note in result["notes"]]
    if result["rows_not_in_log"]:
        out.append(f"  not in log: {', '.join(result['rows_not_in_log'])}")
    for move in result["moves"][:_MOST_LINES]:
        out.append("  " + _event(move))
    if len(result["moves"]) > _MOST_LINES:
        out.append(f"  ... and {len(result['moves']) - _MOST_LINES} more")
    if result["diverged"]:
        found = result["diverged"]
        out.append(f"  open loop: from {clock(found['time_s'], tenths=True)} on (line {found['line']}) {found['why']}; "
                   "rows of the fuel side are not comparable")  # fmt: skip
    return out


def _event(move: dict[str, Any]) -> str:
    row = transition(move)
    decided = ", ".join(f"{name} {value}" for name, value in row["numbers"].items())
    return f"{clock(row['time_s'], tenths=True):>11} {row['from']} -> {row['to']}: {row['text']}{f' ({decided})' if decided else ''}"


def against_lines(found: dict[str, Any]) -> list[str]:
    """What changed from A to B, and nothing else."""
    name = found["log"].rpartition("/")[2]
    more = found["on_oil_more_s"]
    if not found["valid"]:
        return [f"{name}: not valid for that: neither A nor B ever went to oil"]
    head = "nothing changed" if not found["changes"] and not more else (
        f"{abs(more):.1f} s {'more' if more >= 0 else 'less'} on oil in B ({found['on_oil_s'][0]:.1f} s to {found['on_oil_s'][1]:.1f} s), "
        f"{found['exits_vanish']} exits vanish, {found['exits_appear']} appear"
    )  # fmt: skip
    out = [f"{name}: {'partial (interrupted): ' if found['interrupted'] else ''}{head}"]
    for change in found["changes"][:_MOST_LINES]:
        out.append("  " + _change(change))
    if len(found["changes"]) > _MOST_LINES:
        out.append(f"  ... and {len(found['changes']) - _MOST_LINES} more")
    for message, seconds in found["messages"].items():
        out.append(f"  {message} stands {abs(seconds):.1f} s {'longer' if seconds > 0 else 'shorter'}")
    if found["diverged"] and found["changes"]:
        out.append(
            f"  B is open loop from {clock(found['diverged']['time_s'], tenths=True)} on: {found['diverged']['why']}"
        )
    return out


def _change(change: dict[str, Any]) -> str:
    what = f"{clock(change['time_s'], tenths=True):>11} {change['from']} -> {change['to']}"
    side = "" if change["side"] == "comparable" else f" ({change['side']})"
    if change["shift_ms"] is None:
        return f"{what} {change['what']}: {change['reason_a'] or change['reason_b']}{side}"
    shift = change["shift_ms"]
    moved = f"{abs(shift)} ms {'later' if shift > 0 else 'earlier'}" if shift else "at the same time"
    other = (
        "" if change["reason_a"] == change["reason_b"] else f", by {change['reason_b']} instead of {change['reason_a']}"
    )
    return f"{what} {moved}{other}{side}"


def shadow_lines(shadow: dict[str, Any]) -> list[str]:
    """How often each row would have acted, and how near it came."""
    out = [
        f"interlocks in the shadow: {duration(shadow['on_oil_s'])} on oil, {duration(shadow['on_diesel_s'])} on diesel"
    ]
    for row in shadow["rows"]:
        near = [m for m in shadow["margins"] if m["row"] == row["row"] and m["nearest"] is not None]
        said = "; ".join(
            f"{m['kind']} with {m['reading'].replace('_', ' ')} {'above' if m['above'] else 'below'} {shown(m['limit'], m['unit'])}, "
            f"{distance(abs(m['nearest']), m['unit'])} {'away at the nearest' if m['nearest'] >= 0 else 'beyond at the most'}"
            for m in near
        )
        if said or row["ended_oil"] or row["blocked_s"]:
            out.append(f"  {row['row']}: would have ended oil {row['ended_oil']} times, blocked {duration(row['blocked_s'])}, "
                       f"alone {duration(row['alone_s'])}{'; ' + said if said else ''}")  # fmt: skip
    if shadow["not_in_log"]:
        out.append(f"  not in log: {', '.join(shadow['not_in_log'])}")
    return out
