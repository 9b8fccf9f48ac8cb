"""The outputs of a row as a log tells them: numbers by the ids of this law, differences in words."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from changeover import messages, reasons, rows
from changeover.states import STATES
from host_sim.board_log import OUTPUTS
from host_sim.errors import InputError

SUPPLY, RETURN, HEATER, POWER, STATE, REASON, BLOCKED, FORCED, MESSAGE = (
    OUTPUTS.index(name)
    for name in (
        "out_supply",
        "out_return",
        "out_heater",
        "out_power",
        "state",
        "reason",
        "blocked",
        "forced",
        "message",
    )
)
_STRANGE = 1000  # added to an id of the log that this law has no text for: it equals none
_NO_ROW = 31


def reason_words(reason: int) -> str:
    """A reason in words."""
    return str(rows.TABLE[reason][rows.NAME]) if reason < reasons.KEY_OFF else reasons.TEXTS[reason - reasons.KEY_OFF]


def _ours() -> dict[str, dict[int, str]]:
    known = (*range(len(rows.TABLE)), *range(reasons.KEY_OFF, reasons.KEY_OFF + len(reasons.TEXTS)))
    return {
        "state": dict(enumerate(STATES)),
        "reason": {number: reason_words(number) for number in known},
        "message": {number: words[0] for number, words in messages.ENGLISH.items()},
    }


class LoggedOutputs:
    """`numbers` of a row. `told`: which outputs the log holds; `tables`: ids with their texts, as its head has them, or none."""

    def __init__(self, path: Path, told: Sequence[str], tables: dict[str, dict[int, str]]) -> None:
        self.at = [OUTPUTS.index(name) for name in told]
        self.whole = len(self.at) == len(OUTPUTS)
        self._path = path
        self._ours = _ours()
        self._known = tables or self._ours
        self._named = bool(tables)
        self._maps = self._maps_from(tables) if tables and tables != self._ours else None

    def _maps_from(self, tables: dict[str, dict[int, str]]) -> dict[str, dict[int, int]]:
        """From the log's ids to ours, by their texts; an id that kept its text is kept, for two may share one."""
        found = {}
        for kind, ours in self._ours.items():
            by_text = {text: number for number, text in ours.items()}
            found[kind] = {
                number: number if ours.get(number) == text else by_text.get(text, _STRANGE + number)
                for number, text in tables[kind].items()
            }
        return found

    def numbers(self, told: Sequence[str | int], line: int) -> tuple[int, ...]:
        """The outputs with this law's ids. Raises InputError for an id that nothing explains."""
        try:
            found = tuple(map(int, told))
        except ValueError:
            raise InputError(f"{self._path}, line {line}", ",".join(map(str, told)), "whole numbers") from None
        if not self.whole:
            return found
        for kind, at in (("state", STATE), ("reason", REASON), ("message", MESSAGE)):
            if found[at] not in self._known[kind]:
                here = (
                    "one that the log's head names" if self._named else "one of this version (--firmware takes another)"
                )
                raise InputError(f"{self._path}, line {line}, id of a {kind}", found[at], here)
        if self._maps is None:
            return found
        mapped = list(found)
        for kind, at in (("state", STATE), ("reason", REASON), ("message", MESSAGE)):
            mapped[at] = self._maps[kind][found[at]]
        row_of = self._maps["reason"]
        for at in (BLOCKED, FORCED):
            mapped[at] = sum(1 << min(row_of.get(bit, _NO_ROW), _NO_ROW) for bit in range(32) if found[at] >> bit & 1)
        return tuple(mapped)

    def difference(self, logged: Sequence[int], out: Sequence[int]) -> dict[str, str | int] | None:
        """The first output that the law gives otherwise, in words; None where there is none."""
        for at, value in zip(self.at, logged, strict=True):
            if out[at] != value:
                return {
                    "field": OUTPUTS[at],
                    "logged": self._words(at, value),
                    "replayed": self._words(at, int(out[at])),
                }
        return None

    def value(self, logged: Sequence[int], at: int) -> int | None:
        """One of the outputs, by its place in OUTPUTS; None where the log does not hold it."""
        return logged[self.at.index(at)] if at in self.at else None

    def _words(self, at: int, value: int) -> str | int:
        kind = {STATE: "state", REASON: "reason", MESSAGE: "message"}.get(at)
        if kind is not None:
            return self._ours[kind].get(value, f"{kind} {value % _STRANGE} of the log's head")
        if at in (BLOCKED, FORCED):
            names = [str(row[rows.NAME]) for number, row in enumerate(rows.TABLE) if value >> number & 1]
            return ", ".join(names) or "nothing"
        return value
