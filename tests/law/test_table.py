"""The interlock table and the code that works it: texts against conditions, hold times, order, words."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from changeover import messages, reasons, rows
from changeover.inputs import ENGINE, SUPPLY_CONTACT
from changeover.interlocks import Interlocks
from changeover.law import Law
from changeover.limits import Limits
from changeover.memory import Record
from changeover.row_names import NAMES
from changeover.sensing import (
    COOLANT,
    DIESEL_LEVEL,
    GOOD,
    IRRATIONAL,
    NOT_FITTED,
    OIL,
    OIL_LEVEL,
    OIL_TANK,
    PUMP_INLET,
    SETTLING,
    SUPPLY,
)
from changeover.ticks import Lateness
from tests.law.rig import TICK_MS, fitted_out

ROWS = range(len(rows.TABLE))
OTHERS = (OIL_TANK, PUMP_INLET, OIL_LEVEL, DIESEL_LEVEL, SUPPLY)
READINGS = {
    "coolant": COOLANT, "oil": OIL, "pump_inlet": PUMP_INLET, "supply": SUPPLY, "oil_level": OIL_LEVEL, "diesel_level": DIESEL_LEVEL,
}  # fmt: skip
FLAGS = ("settings_bad", "restarted", "late", "memory_bad", "lines_dirty", "air", "heater_failed", "engine", "spent")
COUNTS = {"reverts": 40, "dwell_ms": 600_000, "engine_ms": 1_000_000, "suction_mean": 60_000}


class Untrusted:
    """What a reading without a trusted sensor is in the texts: no comparison with it holds."""

    def __lt__(self, other: object) -> bool:
        return False

    __gt__ = __lt__


class FixedLateness(Lateness):
    """Stands in for the counter of late ticks, which is tried in its own story."""

    def __init__(self, late: bool) -> None:
        super().__init__()
        self.late = late

    def step(self, dt_ms: int) -> bool:
        return self.late


class State:
    """One state of everything that the conditions look at; `texts` evaluates the table, `code` asks the law."""

    def __init__(self, **changes: object) -> None:
        self.limits = Limits(fitted_out())
        self.values = {
            "coolant": 8000,
            "oil": 8000,
            "pump_inlet": 7000,
            "supply": 13800,
            "oil_level": 600,
            "diesel_level": 600,
        }
        self.oil_tank, self.suction = 8000, 5000
        self.reason = dict.fromkeys((COOLANT, OIL, *OTHERS), GOOD)
        self.suction_reason = GOOD
        self.flags = dict.fromkeys(FLAGS, False) | {"engine": True}
        self.counts = dict.fromkeys(COUNTS, 0) | {"engine_ms": 60_000}
        self.supply_unfollowed = self.return_unfollowed = False
        for name, value in changes.items():
            holder = next((d for d in (self.values, self.flags, self.counts) if name in d), None)
            if holder is None:
                assert name in vars(self), name
                setattr(self, name, value)
            else:
                holder[name] = value  # type: ignore[index]

    def names(self) -> dict[str, object]:
        """Every name of the texts with its value now."""
        good = {name: self.reason[index] == GOOD for name, index in READINGS.items()}
        known = {name: value if good[name] else Untrusted() for name, value in self.values.items()}
        tank_counts = self.reason[OIL_TANK] == GOOD
        coldest = min(self.values["oil"], self.oil_tank) if tank_counts else self.values["oil"]
        every = [*self.reason.values(), self.suction_reason]
        return {
            **vars(self.limits), **known, **self.flags, **self.counts,
            "oil_coldest": coldest if good["oil"] else Untrusted(),
            "suction": self.suction if self.suction_reason == GOOD else Untrusted(),
            "settling": SETTLING in every,
            "coolant_bad": self.reason[COOLANT] > SETTLING,
            "oil_bad": self.reason[OIL] > SETTLING,
            "suction_bad": self.suction_reason > SETTLING,
            "other_bad": any(self.reason[index] > SETTLING for index in OTHERS),
            "supply_unfollowed": self.supply_unfollowed,
            "return_unfollowed": self.return_unfollowed,
            "never": False,
        }  # fmt: skip

    def texts(self) -> tuple[int, int]:
        """(block, force) by the texts of the table."""
        names = self.names()
        masks = [0, 0]
        for row in ROWS:
            for which, column in enumerate((rows.BLOCKS, rows.FORCES)):
                if eval(rows.TABLE[row][column], {"__builtins__": {}}, names):
                    masks[which] |= 1 << row
        return masks[0], masks[1]

    def code(self) -> tuple[int, int]:
        """(block, force) by the code, before any hold time."""
        law = Law(fitted_out(), Record(), valid=not self.flags["settings_bad"], restarted=self.flags["restarted"])
        channel, machine = law.inputs.channel, law.machine
        for index, reason in self.reason.items():
            channel[index].reason = reason
        for name, index in READINGS.items():
            channel[index].value = self.values[name]
        channel[OIL_TANK].value = self.oil_tank
        law.inputs.suction_pa, law.inputs.suction_reason = self.suction, self.suction_reason
        law.inputs.contact[ENGINE].on = self.flags["engine"]
        law.inputs.contact[SUPPLY_CONTACT].on = self.supply_unfollowed
        machine.return_on = self.return_unfollowed
        machine.engine_ms, machine.reverts, machine.dwell_ms = (
            self.counts["engine_ms"], self.counts["reverts"], self.counts["dwell_ms"],
        )  # fmt: skip
        machine.memory_bad, machine.lines_dirty = self.flags["memory_bad"], self.flags["lines_dirty"]
        law.restriction.mean_pa, law.restriction.air = self.counts["suction_mean"], self.flags["air"]
        law.restriction.spent = self.flags["spent"]
        law.heater.failed = self.flags["heater_failed"]
        law.conditions.lateness = FixedLateness(self.flags["late"])
        law.conditions.step(TICK_MS)
        return law.conditions.block, law.conditions.force


def near(*points: int) -> st.SearchStrategy[int]:
    """Values dense around these points, sparse elsewhere."""
    close = st.builds(lambda point, shift: point + shift, st.sampled_from(points), st.integers(-2, 2))
    return st.one_of(close, st.integers(min(points) - 3000, max(points) + 3000))


@st.composite
def states(draw: st.DrawFn) -> State:
    """Any state of inputs, machine and helpers."""
    limit = Limits(fitted_out())
    state = State()
    state.values = {
        "coolant": draw(near(limit.coolant_entry, limit.coolant_exit)),
        "pump_inlet": draw(near(limit.pump_entry)),
        "oil": draw(near(limit.oil_entry, limit.oil_exit, limit.oil_hot, limit.oil_hot - 300)),
        "supply": draw(near(limit.supply_block, limit.supply_force)),
        "oil_level": draw(near(limit.oil_low_block, limit.oil_low_force, limit.oil_full, limit.oil_room)),
        "diesel_level": draw(near(limit.diesel_low_block, limit.diesel_low_force)),
    }
    state.oil_tank = draw(near(limit.oil_entry, limit.oil_exit))
    state.suction = draw(near(limit.starved, limit.suction_force))
    reason = st.sampled_from([GOOD] * 5 + [SETTLING, *range(SETTLING, IRRATIONAL + 1)])
    state.reason = {index: draw(reason) for index in state.reason}
    for index in OTHERS:
        if draw(st.booleans()) and draw(st.booleans()):
            state.reason[index] = NOT_FITTED
    state.suction_reason = draw(reason)
    state.flags = {name: draw(st.booleans()) for name in FLAGS}
    state.counts = {
        "reverts": draw(near(limit.reverts_max)),
        "dwell_ms": draw(st.sampled_from([0, 1, 100, 60_000])),
        "engine_ms": draw(near(3000)),
        "suction_mean": draw(near(limit.suction_block)),
    }
    state.supply_unfollowed, state.return_unfollowed = draw(st.booleans()), draw(st.booleans())
    return state


@settings(deadline=None, max_examples=400)
@given(states())
def test_texts_of_the_table_say_what_the_code_does(state: State) -> None:
    assert state.code() == state.texts()


def test_every_text_can_be_true_and_false() -> None:
    """Guards the property above against comparing a text that never holds."""
    quiet = State().texts()
    assert quiet == (0, 0)
    loud_block = loud_force = 0
    for change in (
        {"settings_bad": True}, {"suction": 40_000}, {"supply": 9000}, {"supply_unfollowed": True},
        {"return_unfollowed": True}, {"oil_level": 1000}, {"air": True}, {"oil": 10_100}, {"restarted": True},
        {"late": True}, {"memory_bad": True}, {"engine": False}, {"oil_level": 10}, {"diesel_level": 10},
        {"lines_dirty": True}, {"suction_mean": 30_000}, {"reverts": 9}, {"heater_failed": True}, {"oil": 0},
        {"coolant": -100}, {"dwell_ms": 1}, {"suction_reason": IRRATIONAL},
        {"reason": dict.fromkeys((COOLANT, OIL, *OTHERS), IRRATIONAL)},
    ):  # fmt: skip
        block, force = State(**change).texts()
        loud_block |= block
        loud_force |= force
    never = sum(1 << row for row in ROWS if rows.TABLE[row][rows.FORCES] == "never")
    assert loud_block == (1 << len(rows.TABLE)) - 1
    assert loud_force == loud_block & ~never


COMPARISON = re.compile(r"(\w+) ([<>]) ([a-z]\w*|\d+)( - \d+)?$")
THRESHOLDS = sorted(
    {
        (row, column, *match.groups())
        for row in ROWS
        for column in (rows.BLOCKS, rows.FORCES)
        for part in re.split(r" and | or ", rows.TABLE[row][column])
        if (match := COMPARISON.match(part))
    },
    key=str,
)


@pytest.mark.parametrize(("row", "column", "name", "sense", "limit", "shift"), THRESHOLDS)
def test_each_threshold_acts_just_beyond_its_limit_and_not_on_it(
    row: int, column: int, name: str, sense: str, limit: str, shift: str | None
) -> None:
    at = eval(limit + (shift or ""), vars(State().limits))
    beyond = -1 if sense == "<" else 1
    acts = []
    for offset in (-beyond, 0, beyond):
        state = State(**{name: at + offset}) if name != "oil_coldest" else State(oil_tank=at + offset)
        acts.append(state.code()[0 if column == rows.BLOCKS else 1] >> row & 1)
    assert acts == [0, 0, 1]


def test_thresholds_were_found() -> None:
    texts = "".join(row[rows.BLOCKS] + row[rows.FORCES] for row in rows.TABLE)
    assert len(THRESHOLDS) == texts.count("<") + texts.count(">")
    assert {threshold[4] for threshold in THRESHOLDS} >= set(vars(State().limits)), "a limit that no row compares with"


def test_zero_degrees_is_a_temperature() -> None:
    """0 is a reading like any other; below it too."""
    for oil in (1, 0, -1, -4000):
        block, force = State(oil=oil, coolant=oil).code()
        assert block >> rows.OIL_COLD & 1
        assert force >> rows.OIL_COLD & 1
        assert block >> rows.COOLANT_COLD & 1
        assert force >> rows.COOLANT_COLD & 1


def test_glossary_has_every_name_of_the_texts_and_no_other() -> None:
    words = {
        word
        for row in rows.TABLE
        for column in (rows.BLOCKS, rows.FORCES)
        for word in re.findall(r"[a-z]\w*", row[column])
    }
    assert words - {"and", "or", "not"} - set(vars(State().limits)) == set(NAMES)


def test_columns_are_well_formed() -> None:
    for row in rows.TABLE:
        assert len(row) == 10
        assert re.fullmatch(r"[a-z][a-z -]+", row[rows.NAME])
        for column in (rows.BLOCK_MS, rows.FORCE_MS, rows.CLEAR_MS):
            assert row[column] >= 0
            assert row[column] % TICK_MS == 0
        assert row[rows.HAZARD] in {f"H{number}" for number in range(1, 11)}
        if row[rows.LATCH] == rows.LATCHED:
            assert row[rows.CLEAR_MS] == 0, "a latched row is cleared by key-off alone"
    assert len({row[rows.NAME] for row in rows.TABLE}) == len(rows.TABLE)


def test_rows_that_end_on_diesel_are_those_that_forbid_a_purge() -> None:
    assert sum(1 << row for row in ROWS if rows.TABLE[row][rows.AFTER] == rows.TO_DIESEL) == rows.FORBIDS_PURGE
    assert rows.NOT_IN_LOOP & ~rows.FORBIDS_PURGE == 0


def test_readings_of_a_row_are_the_inputs_that_it_needs() -> None:
    for row in rows.TABLE:
        words = set(re.findall(r"\w+", row[rows.BLOCKS]))
        for name in ("supply", "oil_level", "diesel_level"):
            assert (name in words) == (row[rows.NEEDS] == 1 << READINGS[name])


# the hold times


@pytest.mark.parametrize("row", ROWS)
def test_row_blocks_forces_and_clears_after_its_own_times(row: int) -> None:
    bit = 1 << row
    spec = rows.TABLE[row]
    interlocks = Interlocks()

    def ticks_until(raw: int, masks: str, value: int) -> int:
        for ticks in range(1, 400):
            interlocks.step(raw, raw, TICK_MS)
            if getattr(interlocks, masks) == value:
                return ticks
        return 400

    # the first tick that shows the condition starts the wait: n ms of it are over n ms later
    assert ticks_until(bit, "blocked", bit) == spec[rows.BLOCK_MS] // TICK_MS + 1
    interlocks.restart()
    assert ticks_until(bit, "forced", bit) == spec[rows.FORCE_MS] // TICK_MS + 1
    interlocks.step(bit, bit, 1000)
    for _ in range(110):
        interlocks.step(bit, bit, TICK_MS)
    assert (interlocks.blocked, interlocks.forced) == (bit, bit)
    assert interlocks.lowest(interlocks.blocked | 1 << 24) == row
    if spec[rows.LATCH] == rows.LATCHED:
        assert ticks_until(0, "blocked", 0) == 400
        interlocks.restart()
        assert (interlocks.blocked, interlocks.forced) == (0, 0)
    else:
        assert ticks_until(0, "blocked", 0) == spec[rows.CLEAR_MS] // TICK_MS + 1
        assert interlocks.forced == 0


@pytest.mark.parametrize("row", [row for row in ROWS if rows.TABLE[row][rows.FORCE_MS]])
def test_condition_that_goes_before_its_time_starts_the_wait_anew(row: int) -> None:
    bit = 1 << row
    interlocks = Interlocks()
    for _ in range(5):
        for _ in range(rows.TABLE[row][rows.FORCE_MS] // TICK_MS):
            interlocks.step(0, bit, TICK_MS)
        assert interlocks.forced == 0
        interlocks.step(0, 0, TICK_MS)
    assert interlocks.forced == 0


def test_grave_row_is_never_hidden_by_a_common_one() -> None:
    interlocks = Interlocks()
    for grave in ROWS:
        for common in range(grave + 1, len(rows.TABLE)):
            assert interlocks.lowest(1 << grave | 1 << common) == grave
    severities = [messages.severity(row) for row in ROWS]
    assert severities[: rows.NO_ROOM] == [messages.GRAVE] * rows.NO_ROOM
    # whatever is told in every state stands before all that is told only while waiting
    told = messages.uncommon((1 << len(rows.TABLE)) - 1)
    assert told & sum(1 << row for row in (rows.ENGINE, rows.LINES, rows.OIL_COLD, rows.COOLANT_COLD, rows.DWELL)) == 0


# words and ids

FROZEN_ROWS = (
    "settings not valid", "fuel starved", "supply low", "supply valve not followed", "return valve not followed",
    "no room for a purge", "coolant sensor not trusted", "oil sensor not trusted", "suction sensor not trusted",
    "another fitted sensor not trusted", "air leak or empty tank", "oil hot", "restarted by the watchdog", "ticks late",
    "memory not writable", "engine not running", "oil tank low", "diesel low", "oil left in the lines",
    "filter restricted", "too many reverts", "heater not heating", "oil cold", "coolant cold",
    "shortest time on diesel",
)  # fmt: skip
FROZEN_REASONS = (
    "key off", "key on", "everything allows oil and the driver wants it", "oil may be at the return valve",
    "whole purge volume credited", "selector on DIESEL", "driver is stopping soon", "what forbade the purge has gone",
    "held-on engine reached its end before the purge did",
)  # fmt: skip
FROZEN_MESSAGES = (
    "CHANGING OVER", "ON OIL", "PURGING", "PURGE WAITS", "PURGE COMPLETE", "OIL IS READY", "LINES ON DIESEL",
    "OIL IN LINES", "PURGING, KEY OFF", "PURGE CUT SHORT", "MAY STAND (min)", "PURGE BEFORE",
)  # fmt: skip


def test_ids_only_ever_grow_at_their_end() -> None:
    """Logs of any age carry these numbers: a row, reason or message may be added at the end, none moved or reused."""
    assert tuple(row[rows.NAME] for row in rows.TABLE)[: len(FROZEN_ROWS)] == FROZEN_ROWS
    assert reasons.TEXTS[: len(FROZEN_REASONS)] == FROZEN_REASONS
    assert reasons.KEY_OFF == 32
    assert 31 + len(FROZEN_REASONS) == reasons.RUN_ON_ENDED
    heads = tuple(messages.ENGLISH[number][0] for number in sorted(messages.ENGLISH) if number >= 32)
    assert heads[: len(FROZEN_MESSAGES)] == FROZEN_MESSAGES
    assert len(rows.TABLE) <= 30, "more would make masks that are no small integers on a 32-bit board"


def test_every_message_has_words_that_fit_the_display() -> None:
    assert sorted(messages.ENGLISH) == [*ROWS, *range(32, 32 + len(messages.ENGLISH) - len(rows.TABLE))]
    for head, action in messages.ENGLISH.values():
        lines = action.split("\n")
        assert 0 < len(head) <= 16
        assert head.isascii()
        assert 1 <= len(lines) <= 2
        assert all(0 < len(line) <= 16 and line.isascii() for line in lines)
