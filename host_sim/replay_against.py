"""Two replays of one log, A and B: only what changed, with how much earlier or later."""

from __future__ import annotations

from difflib import SequenceMatcher
from typing import Any

from changeover.reasons import KEY_ON

_OIL = ("FILLING", "ON_OIL")


def _trips(moves: list[dict[str, Any]]) -> list[list[dict[str, Any]]]:
    """The moves by trip; what comes before the first key-on stands in the first."""
    trips: list[list[dict[str, Any]]] = [[]]
    for move in moves:
        if move["reason"] == KEY_ON and move["from"] == "PARKED" and trips[-1]:
            trips.append([])
        trips[-1].append(move)
    return trips


def _key(move: dict[str, Any]) -> tuple[str, str]:
    return move["from"], move["to"]


def _exit(move: dict[str, Any]) -> bool:
    return move["from"] in _OIL and move["to"] not in _OIL


def compare(a: dict[str, Any], b: dict[str, Any]) -> dict[str, Any]:
    """`changes`: moves that A and B do not share, in the order of time. `shift_ms` is B's time less A's: negative is earlier.

    `messages`: for how many s longer (or, negative, shorter) a message stands in B. Times on oil in s. `valid`: whether either
    of them ever went to oil: otherwise there was nothing to compare.
    """
    trips_a, trips_b = _trips(a["moves"]), _trips(b["moves"])
    changes: list[dict[str, Any]] = []
    for number in range(max(len(trips_a), len(trips_b))):
        ours = trips_a[number] if number < len(trips_a) else []
        theirs = trips_b[number] if number < len(trips_b) else []
        matcher = SequenceMatcher(None, [_key(move) for move in ours], [_key(move) for move in theirs], autojunk=False)
        for tag, i, i_end, j, j_end in matcher.get_opcodes():
            if tag == "equal":
                for one, other in zip(ours[i:i_end], theirs[j:j_end], strict=True):
                    if one["t_ms"] != other["t_ms"] or one["reason"] != other["reason"]:
                        changes.append(_change(number, "moves", one, other))
            else:
                changes += [_change(number, "vanishes", move, None) for move in ours[i:i_end]]
                changes += [_change(number, "appears", None, move) for move in theirs[j:j_end]]
    for change in changes:  # what is only in A happened, in B's log, where B had left it already
        if change["what"] == "vanishes" and b["diverged"] and change["time_s"] > b["diverged"]["time_s"]:
            change["side"] = "not comparable"
    changes.sort(key=lambda change: change["time_s"])
    standing = {name: _standing(result) for name, result in (("a", a), ("b", b))}
    said = {
        name: round(standing["b"].get(name, 0.0) - standing["a"].get(name, 0.0), 1)
        for name in sorted({*standing["a"], *standing["b"]})
    }
    on_oil = [side["counters"]["on_oil_ms"] / 1000.0 for side in (a, b)]
    return {
        "log": a["log"], "valid": any(move["to"] in _OIL for move in (*a["moves"], *b["moves"])), "changes": changes,
        "messages": {name: seconds for name, seconds in said.items() if seconds},
        "on_oil_s": on_oil, "on_oil_more_s": round(on_oil[1] - on_oil[0], 1),
        "exits_vanish": sum(change["what"] == "vanishes" and change["exit"] for change in changes),
        "exits_appear": sum(change["what"] == "appears" and change["exit"] for change in changes),
        "diverged": b["diverged"], "interrupted": a["interrupted"] or b["interrupted"],
        "made_from": [[side["settings_hash"], side["firmware_hash"]] for side in (a, b)],
    }  # fmt: skip


def _change(trip: int, what: str, one: dict[str, Any] | None, other: dict[str, Any] | None) -> dict[str, Any]:
    here = other or one or {}
    return {
        "trip": trip + 1, "time_s": here["t_ms"] / 1000.0, "what": what, "from": here["from"], "to": here["to"], "exit": _exit(here),
        "reason_a": one and one["text"], "reason_b": other and other["text"],
        "shift_ms": other["t_ms"] - one["t_ms"] if one and other else None, "side": here["side"],
    }  # fmt: skip


def _standing(result: dict[str, Any]) -> dict[str, float]:
    """For how long each message stood, in s."""
    total: dict[str, float] = {}
    for begin, end, name, *_ in result["strips"]["messages"]:
        total[name] = total.get(name, 0.0) + end - begin
    return total
