"""The law against a slow model of its words: blocked, forced, states, valves and volumes, on every tick of any drive.

A row that was never up in the whole run fails: agreement about what never happened says nothing. `-s` prints how often each was.
"""

from __future__ import annotations

import random
from bisect import bisect_left
from collections import Counter

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from changeover import conditions, interlocks, rows
from changeover.inputs import (
    BONNET,
    BRAKE,
    BUTTON,
    ENGINE,
    KEY,
    NEUTRAL,
    READY,
    RETURN_CONTACT,
    SUPPLY_CONTACT,
    Inputs,
)
from changeover.limits import Limits
from changeover.memory import Record
from changeover.sensing import (
    AMBIENT,
    COOLANT,
    DIESEL_LEVEL,
    GOOD,
    NO_ANSWER,
    OIL,
    OIL_LEVEL,
    OIL_TANK,
    PUMP_INLET,
    SUCTION,
    SUPPLY,
    Channel,
)
from changeover.settings import ADVISE, AUTOMATIC, LOOPED_RETURN, PERMIT, TANK_RETURN
from changeover.states import STATES
from host_sim.signals import from_physical
from tests.law.rig import CHANNELS, COLD_MORNING, HOT_ENGINE, OPEN_COUNTS, TICK_MS, Rig, fitted_out
from tests.law.slow_model import SlowChannel, SlowFilter, SlowModel

TABLE = rows.TABLE  # as it is written: some tests below weaken the law's
WRAP = 2**30
WELL = {CHANNELS[name]: from_physical(CHANNELS[name], value) for name, value in (COLD_MORNING | HOT_ENGINE).items()}


class Disagreement(AssertionError):
    """Law and model differ."""


class TwoOpinions(Rig):
    """A rig on which the model is told what the law is told, and has to agree after every tick."""

    def __init__(self, seen: Counter[str], *, suction_last_pa: int = 0, **options: int) -> None:
        """`seen` counts what was up; `suction_last_pa`: what flash remembers of the filter, at 70 degC."""
        self.seen = seen
        self.suction_last_pa = suction_last_pa
        super().__init__(**options)
        self.watch = self.compare
        self.inlet_c = 66.0

    def boot(self, restarted: bool = False) -> None:
        if self.suction_last_pa:
            record = Record()
            record.oil_in_lines = False
            record.suction_mean_pa = record.suction_low_pa = self.suction_last_pa
            self.slots = [b"", record.encode()]
            self.suction_last_pa = 0
        super().boot(restarted)
        record = self.law.record
        known = SlowFilter(self.values, record.suction_mean_pa, record.suction_low_pa)
        self.model = SlowModel(self.values, TABLE, self.valid, restarted, record.oil_in_lines, known)

    def tick(self, dt_ms: int = TICK_MS) -> None:
        super().tick(dt_ms)
        if self.contacts_follow:  # as the pump inlet follows the valve
            diesel_c = 66.0 if self.values["layout"] == LOOPED_RETURN else 40.0  # a loop goes round until it is warm
            target_c = 72.0 if self.law.machine.supply_on else diesel_c
            self.inlet_c += max(-1.0, min(1.0, target_c - self.inlet_c))
            self.reads(pump_inlet_c=self.inlet_c)

    def compare(self, answer: bool | None) -> None:
        law, machine, model = self.law, self.law.machine, self.model
        verdicts = [(channel.reason, channel.value) for channel in law.inputs.channel]
        model.step(self.now_ms, self.levels, verdicts, (law.inputs.suction_reason, law.inputs.suction_pa))
        theirs: dict[str, object] = {"writes": model.record_dirty if model.asks_write else None}
        ours: dict[str, object] = {"writes": None if answer is None else law.record.oil_in_lines}
        if answer is not None:
            model.written(answer, law.record.oil_in_lines)
        theirs |= {
            "blocked": model.blocked, "forced": model.forced, "state": model.state, "supply valve": model.supply_on,
            "return valve": model.return_on, "engine held": model.holds_engine, "heater": model.heater.on,
            "lines dirty": model.lines_dirty, "filled": model.fill_ul, "credited": model.credit_ul,
        }  # fmt: skip
        ours |= {
            "blocked": numbers(law.interlocks.blocked), "forced": numbers(law.interlocks.forced),
            "state": STATES[machine.state], "supply valve": machine.supply_on, "return valve": machine.return_on,
            "engine held": law.run_on, "heater": law.heater.on, "lines dirty": machine.lines_dirty,
            "filled": machine.lines.fill_ul, "credited": machine.lines.credit_ul,
        }  # fmt: skip
        if ours != theirs:
            named = [f"{name}: law {ours[name]}, model {theirs[name]}" for name in ours if ours[name] != theirs[name]]
            raise Disagreement(f"at {self.now_ms} ms: {'; '.join(named)}")
        self.seen.update(["ticks", f"state {model.state}"])
        self.seen.update(f"blocks: {TABLE[row][rows.NAME]}" for row in model.blocked)
        self.seen.update(f"forces: {TABLE[row][rows.NAME]}" for row in model.forced)


def numbers(mask: int) -> set[int]:
    return {row for row in range(len(TABLE)) if mask >> row & 1}


def counts_for(channel: Channel, value: int) -> int:
    """Raw counts that the law reads as `value`, or the next beyond."""
    sign = -1 if channel.convert(40_000) < channel.convert(20_000) else 1
    return bisect_left(range(65_536), sign * value, key=lambda counts: sign * channel.convert(counts))


# drives by chance: from oil, one thing after another, each for about as long as some hold time

_LIMITS = Limits(fitted_out())
_CHANNELS = Inputs(fitted_out()).channel
NEAR_LIMITS = [
    (channel, counts_for(_CHANNELS[channel], limit + more))
    for channel, *near in (
        (COOLANT, _LIMITS.coolant_entry, _LIMITS.coolant_exit), (OIL_TANK, _LIMITS.oil_entry),
        (OIL, _LIMITS.oil_entry, _LIMITS.oil_exit, _LIMITS.oil_hot, _LIMITS.oil_hot - 300, 7600),
        (SUCTION, _LIMITS.starved, _LIMITS.suction_force, 20_000, 12_000, 1000),
        (SUPPLY, _LIMITS.supply_block, _LIMITS.supply_force), (PUMP_INLET, 7000), (AMBIENT, 2000),
        (OIL_LEVEL, _LIMITS.oil_low_block, _LIMITS.oil_low_force, _LIMITS.oil_full, 951, 953),
        (DIESEL_LEVEL, _LIMITS.diesel_low_block, _LIMITS.diesel_low_force),
    )
    for limit in near
    for more in (-1, 0, 1)
]  # fmt: skip
SENSORS = (COOLANT, OIL, SUCTION, OIL_TANK, PUMP_INLET, OIL_LEVEL, DIESEL_LEVEL, SUPPLY)
SWITCHES = (KEY, KEY, ENGINE, READY, READY, BUTTON, BUTTON, BRAKE, NEUTRAL, BONNET)
HOLDS = sorted({ms // TICK_MS for row in TABLE for ms in row[rows.BLOCK_MS : rows.CLEAR_MS + 1]} | {3, 19, 120})

Event = tuple[str, int, int, int, int, int, bool]  # what, which, counts, ticks of so many ms, a pause in ms, heals
MISHAPS: list[list[tuple[str, int, int]]] = [
    [("nothing", 0, 0)],
    [("another trip", 0, 0)],
    [("another trip", 0, 0)],
    [("refuses", 0, 0)],
    [("boots", 0, 0), ("boots", 0, 0), ("boots", 1, 0)],
    [("sticks", contact, 0) for contact in (SUPPLY_CONTACT, RETURN_CONTACT)],
    [("loses", channel, OPEN_COUNTS if channel < OIL_TANK else NO_ANSWER) for channel in SENSORS],
    *[[("turns", contact, 0) for contact in SWITCHES]] * 3,
    *[[("reads", *near) for near in NEAR_LIMITS]] * 5,
]
LASTS = [(230, TICK_MS), (150, TICK_MS), (80, 250), (41, 250), (3, 251), (3, 1000)]
PAUSES_MS = [0] * 12 + [1, 99, 101, 199, 200, 201, 249, 250, 251, 999, 1000, 1001, WRAP // 2 - 1]
FITTED = (
    {"fit_heater": 1},
    {"fit_heater": 1},
    {"fit_heater": 1, "fit_supply_contact": 0},
    {"fit_supply_contact": 0, "fit_return_contact": 0, "fit_oil_level": 0, "fit_supply": 0, "authority": PERMIT},
    {"fit_pump_inlet_ntc": 0, "fit_diesel_level": 0, "fit_oil_tank_ntc": 0, "fit_ambient": 0, "authority": PERMIT},
)


def a_car(rng: random.Random) -> dict[str, int]:
    """What a rig is built with."""
    car = {
        "dwell_diesel_s": 10,
        "reverts_max": 1,
        "authority": rng.choice([AUTOMATIC, AUTOMATIC, AUTOMATIC, PERMIT, PERMIT, ADVISE]),
        "layout": rng.choice([TANK_RETURN, TANK_RETURN, LOOPED_RETURN]),
        "run_on_s": rng.choice([0, 3, 60]),
        "path_ul": rng.choice([30_000, 10_001, 100_000]),
        "now_ms": (WRAP - rng.choice([0, 5000, 20_000])) % WRAP,
        "suction_last_pa": rng.choice([0, 0, 12_000, 12_000, 25_000]),
        "oil_in_lines": rng.choice([0, 0, 0, 1]),
        "valid": rng.randrange(16) > 0,
        **rng.choice(FITTED),
    }
    if car["layout"] == LOOPED_RETURN:
        car["run_on_s"] = 0
    return car


def some_events(rng: random.Random) -> list[Event]:
    """What happens to it."""
    events: list[Event] = []
    for _ in range(rng.randrange(8, 20)):
        mishap = rng.choice(rng.choice(MISHAPS))
        ticks, dt_ms = max(1, rng.choice(HOLDS) + rng.randrange(-1, 3)), TICK_MS
        if rng.random() < 0.3:
            ticks, dt_ms = rng.choice(LASTS)
        events.append((*mishap, ticks, dt_ms, rng.choice(PAUSES_MS), rng.random() < 0.8))
    return events


def turn_to(rig: TwoOpinions, channel: int, counts: int) -> None:
    """A reading runs there in 1.5 s: a sudden step would be a broken sensor."""
    start = rig.counts[channel]
    for step in range(1, 16):
        rig.counts[channel] = start + (counts - start) * step // 15
        rig.tick()


def happen(rig: TwoOpinions, what: str, which: int, counts: int) -> None:
    if what == "another trip":
        rig.contacts_follow, rig.refuses_writes = True, False
        rig.levels = [False] * 10
        for channel, usual in WELL.items():
            rig.counts[channel] = usual
        rig.run(0.6)
        rig.levels[BRAKE] = rig.levels[NEUTRAL] = rig.levels[BONNET] = True
        rig.start()
        rig.run(3.5)
        rig.ready()
        rig.run(4)
    elif what == "reads":
        turn_to(rig, which, counts)
    elif what == "loses":
        rig.counts[which] = counts
    elif what == "turns":
        rig.levels[which] = not rig.levels[which]
    elif what == "sticks":
        rig.contacts_follow = False
        rig.levels[which] = not rig.levels[which]
    elif what == "refuses":
        rig.refuses_writes = True
    elif what == "boots":
        rig.boot(which == 1)


def heal(rig: TwoOpinions, what: str, which: int) -> None:
    if what == "reads":
        turn_to(rig, which, WELL[which])
    elif what == "loses":
        rig.counts[which] = WELL[which]
    elif what == "turns":
        rig.levels[which] = not rig.levels[which]
    elif what == "sticks":
        rig.contacts_follow = True
    elif what == "refuses":
        rig.refuses_writes = False


def drive(car: dict[str, int], events: list[Event]) -> Counter[str]:
    """One drive; for how many ticks each row was up and each state was there."""
    seen: Counter[str] = Counter()
    rig = TwoOpinions(seen, **car)
    happen(rig, "another trip", 0, 0)
    for what, which, counts, ticks, dt_ms, pause_ms, heals in events:
        happen(rig, what, which, counts)
        for _ in range(ticks):
            rig.tick(dt_ms)
        if pause_ms:
            rig.tick(pause_ms)
        if heals:
            heal(rig, what, which)
    return seen


def disagrees(car: dict[str, int], events: list[Event]) -> bool:
    try:
        drive(car, events)
    except AssertionError:
        return True
    return False


def shortest(car: dict[str, int], events: list[Event]) -> list[Event]:
    """What of the events is needed to make law and model differ."""
    for index in reversed(range(len(events))):
        fewer = events[:index] + events[index + 1 :]
        if disagrees(car, fewer):
            events = fewer
    return events


def of_seed(seed: int) -> tuple[dict[str, int], list[Event]]:
    rng = random.Random(seed)
    return a_car(rng), some_events(rng)


DRIVES = [of_seed(seed) for seed in range(90)]
# what chance brings too seldom: five minutes of a heater that warms nothing, a tank that fills up
WRITTEN = [
    (
        {"fit_heater": 1},
        [
            ("turns", READY, 0, 150, TICK_MS, 0, False),
            ("reads", OIL, counts_for(_CHANNELS[OIL], 7200), 1300, 250, 0, True),
        ],
    ),
    (
        {"path_ul": 100_000},
        [
            ("reads", OIL_LEVEL, counts_for(_CHANNELS[OIL_LEVEL], 956), ticks, TICK_MS, 0, True)
            for ticks in (48, 49, 50)
        ],
    ),
]


def test_law_and_model_agree_on_every_tick_of_any_drive() -> None:
    seen: Counter[str] = Counter()
    for car, events in [*DRIVES, *WRITTEN]:
        try:
            seen += drive(car, events)
        except AssertionError:
            events = shortest(car, events)
            print(f"shortest that differs: {car}, {events}")
            drive(car, events)
            raise
    for name in sorted(seen):
        print(f"{seen[name]:8} {name}")
    assert {name for name in seen if name.startswith("state ")} == {f"state {state}" for state in STATES}
    for row in TABLE:
        assert seen[f"blocks: {row[rows.NAME]}"], row[rows.NAME]
        assert seen[f"forces: {row[rows.NAME]}"] or row[rows.FORCES] == "never", row[rows.NAME]


# a weakened law is noticed


@pytest.mark.parametrize(
    ("row", "column", "value"),
    [
        (rows.SUPPLY_VALVE, rows.FORCE_MS, 2100),
        (rows.OIL_SENSOR, rows.CLEAR_MS, 2100),
        (rows.OIL_COLD, rows.FORCE_MS, 1900),
        (rows.STARVED, rows.LATCH, rows.HELD),
    ],
)
def test_another_hold_time_or_latch_is_noticed(
    monkeypatch: pytest.MonkeyPatch, row: int, column: int, value: int
) -> None:
    table = [list(spec) for spec in TABLE]
    assert table[row][column] != value
    table[row][column] = value
    monkeypatch.setattr(interlocks, "TABLE", tuple(map(tuple, table)))
    assert any(disagrees(car, events) for car, events in DRIVES)


@pytest.mark.parametrize(("name", "more"), [("oil_entry", -1), ("oil_hot", 1), ("starved", 2), ("oil_room", 1)])
def test_another_threshold_is_noticed(monkeypatch: pytest.MonkeyPatch, name: str, more: int) -> None:
    class Moved(Limits):
        def __init__(self, values: dict[str, int]) -> None:
            super().__init__(values)
            setattr(self, name, getattr(self, name) + more)

    monkeypatch.setattr(conditions, "Limits", Moved)
    assert any(disagrees(car, events) for car, events in DRIVES)


# trust in one channel

CHANNEL_KINDS = {
    "thermistor": (OIL, -4000, 13_000, 700, 65_000, 500),
    "thermistor where another fuel may arrive at once": (PUMP_INLET, -4000, 13_000, 700, 65_000, 0),
    "level": (OIL_LEVEL, -100, 1100, 900, 65_000, 0),
}
SAMPLES = st.one_of(
    st.sampled_from([NO_ANSWER, 0, 700, 701, 900, 901, 64_999, 65_000, 65_535]),
    st.integers(1000, 60_000),
    st.integers(-5000, 5000).map(lambda near: 30_000 + near),
    st.just(30_000),
    st.just(30_000),
)


@pytest.mark.parametrize("kind", CHANNEL_KINDS)
@settings(deadline=None, max_examples=150)
@given(
    runs=st.lists(st.tuples(SAMPLES, st.sampled_from([1, 1, 2, 3, 5, 12, 41, 600]), st.integers(0, 15)), max_size=25)
)
@example(runs=[(30_000, 5, 1), (65_535, 600, 1), (30_000, 5, 0), (26_000, 3, 1)])  # trusts nothing of the last trip
def test_trust_in_one_channel_is_what_its_samples_say(kind: str, runs: list[tuple[int, int, int]]) -> None:
    """Each run: a sample, how often, and 0 for a key-on before it."""
    index, *limits = CHANNEL_KINDS[kind]
    law = Inputs(fitted_out()).channel[index]
    model = SlowChannel(*limits)
    for counts, times, key_on in runs:
        if key_on == 0:
            law.restart()
            model.key_on()
        for _ in range(times):
            law.step(counts)
            model.sample(counts, law.convert(counts) if counts >= 0 else 0)
            assert law.reason == model.reason
            assert law.reason != GOOD or law.value == model.value
