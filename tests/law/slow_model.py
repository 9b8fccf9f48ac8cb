"""A second opinion on what the law permits: written from the words of the interlock table, slowly and plainly.

It is told what the sensors' verdicts are and keeps the whole past: a row's hold time is "at every tick since then", found by
looking back. It shares with the law its settings and the text columns of the table, and no code. Sensor trust has a
slow twin of its own, `SlowChannel`; rules of trust that look at several channels are the law's.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import ceil, inf, nan

from changeover import rows
from changeover.inputs import BONNET, BRAKE, BUTTON, ENGINE, KEY, NEUTRAL, READY, RETURN_CONTACT, SUPPLY_CONTACT
from changeover.sensing import (
    COOLANT,
    DIESEL_LEVEL,
    GOOD,
    JUMPED,
    NO_ANSWER,
    NOT_FITTED,
    OIL,
    OIL_LEVEL,
    OIL_TANK,
    OPEN,
    OUT_OF_RANGE,
    PUMP_INLET,
    SETTLING,
    SHORT,
    STALE,
    SUPPLY,
)
from changeover.settings import ADVISE, AUTOMATIC, LOOPED_RETURN, PERMIT

Verdict = tuple[int, int]  # (reason, value); the value means something only where the reason is GOOD

CLOCK_PERIOD_MS = 2**30
LONGEST_TICK_MS, WATCHDOG_MS = 1000, 2000
LATE_MS = 250
LONG_PRESS_MS = 2000
SUPPLY_AFTER_MS, RETURN_AFTER_MS = 3000, 500
DEBOUNCE = {KEY: (2, 3), ENGINE: (2, 4), READY: (3, 2)}  # samples until on, until off; the others 2 and 2
FITTED = {
    "oil_tank_ntc": OIL_TANK, "pump_inlet_ntc": PUMP_INLET, "oil_level": OIL_LEVEL, "diesel_level": DIESEL_LEVEL,
    "supply": SUPPLY,
}  # fmt: skip
ENTERS, ENDS = 0, 1  # the two conditions of a row: blocks entry, forces exit


class SlowContact:
    """A contact that bounces: the other position counts up, the present one down, and enough of the other is a change."""

    def __init__(self, rise: int, fall: int) -> None:
        self.needed = {False: rise, True: fall}
        self.on = False
        self.doubt = 0

    def sample(self, level: bool) -> None:
        self.doubt = self.doubt + 1 if level != self.on else max(self.doubt - 1, 0)
        if self.doubt >= self.needed[self.on]:
            self.on = not self.on
            self.doubt = 0


class SlowChannel:
    """Trust in one analog channel, from its samples alone. After key-on the first five believable ones only settle it."""

    def __init__(self, low: int, high: int, short_counts: int, open_counts: int, jump: int) -> None:
        self.low, self.high, self.short_counts, self.open_counts, self.jump = low, high, short_counts, open_counts, jump
        self.key_on()

    def key_on(self) -> None:
        self.reason, self.value = SETTLING, 0
        self.settling, self.score, self.absent = 5, 0, 0

    def sample(self, counts: int, value: int) -> None:
        """One sample: what the converter said, and what that is in the channel's unit."""
        wrong = self._wrong(counts, value)
        if wrong != GOOD:
            self.score = min(40, self.score + 4)
            self.absent += wrong != JUMPED  # while nothing can be read the truth may move
            if self.score >= 12:
                self.reason = wrong
            return
        self.value = value
        if self.settling:
            self.settling -= 1
            if self.settling == 0 and self.reason == SETTLING:
                self.reason = GOOD
        elif self.score:
            self.score -= 1
            if self.score == 0:
                self.reason, self.absent = GOOD, 0

    def _wrong(self, counts: int, value: int) -> int:
        if counts == NO_ANSWER:
            return STALE
        if counts >= self.open_counts:
            return OPEN
        if counts <= self.short_counts:
            return SHORT
        if not self.low <= value <= self.high:
            return OUT_OF_RANGE
        limited = self.jump and not self.settling
        return JUMPED if limited and abs(value - self.value) > self.jump + min(self.absent, 500) else GOOD


@dataclass
class Moment:
    """One tick of the past. `shown`: rows whose text held, for entry and for exit."""

    at_ms: int
    shown: tuple[set[int], set[int]]


class SlowFilter:
    """What the filter's suction was, corrected to oil of 70 degC, while oil was drawn in one stretch."""

    def __init__(self, values: dict[str, int], mean_pa: int, low_pa: int) -> None:
        self.factors = [(100 * t_c, values[f"suction_norm_{t_c:03d}_permille"]) for t_c in range(20, 111, 10)]
        self.idle = values["flow_measured_ul_s"] * 1000 // values["flow_max_ul_s"]
        self.mean, self.least = mean_pa, low_pa
        self.spent = False
        self.trip: list[int] = []
        self.read: list[int] = []
        self.stretch: list[int] = []
        self.smooth = 0
        self.air = False

    def factor(self, oil: int) -> int:
        if oil <= self.factors[0][0]:
            return self.factors[0][1]
        for (cold, low), (warm, high) in zip(self.factors, self.factors[1:], strict=False):
            if oil < warm:
                return low + (high - low) * (oil - cold) // (warm - cold)
        return self.factors[-1][1]

    def second(self, drawn: bool, suction: int, oil: int) -> None:
        self.air = False
        if not drawn:
            self.stretch = []
            return
        corrected = suction * self.factor(oil) // 1000
        self.stretch.append(corrected)
        if len(self.stretch) <= 20:
            self.smooth = corrected
            return
        self.smooth += (corrected - self.smooth) // 16
        self.trip.append(self.smooth)
        self.read.append(corrected // 16)
        if len(self.read) >= 60:
            self.mean = sum(self.read) // len(self.read) * 16
        reference = self.least * 1000 // self.factor(oil)
        self.air = reference >= 4000 and suction < reference // 2

    def key_off(self, air_found: bool) -> None:
        if self.trip and air_found:
            self.least -= self.least // 4
        elif self.trip:
            trip = max(1, min(self.trip))
            creeps = self.least + self.least // 16 + 1
            self.least = min(trip, creeps) if self.least else max(1, trip * self.idle // 1000)
        self.trip, self.read, self.stretch, self.air = [], [], [], False


class SlowHeater:
    """The filter heater: on while it may, and whether five minutes of it, with no oil flowing and the coolant far ahead, have
    warmed anything."""

    def __init__(self) -> None:
        self.on = self.failed = False
        self.proof: list[int] = []

    def second(self, flowing: bool, oil: int, coolant: int) -> None:
        if not self.on or flowing or coolant - oil < 1000:
            self.proof = []
            return
        self.proof.append(oil)
        if oil - self.proof[0] >= 200:
            self.failed = False
            self.proof = []
        elif len(self.proof) >= 300:
            self.failed = True


class SlowInlet:
    """The supply valve judged by the temperature at the pump inlet, where it has no contact."""

    def __init__(self, values: dict[str, int]) -> None:
        self.window_s = values["path_ul"] // (values["flow_measured_ul_s"] * 4 // 5) + 11
        self.from_tank = values["layout"] != LOOPED_RETURN
        self.commanded = False
        self.due: tuple[int, int] | None = None  # (from where, +1 a rise or -1 a fall)
        self.waited_ms = 0
        self.unfollowed = False

    def tick(self, commanded: bool, inlet: Verdict, oil: Verdict, elapsed_ms: int) -> None:
        if commanded != self.commanded:
            self.commanded, self.unfollowed, self.due, self.waited_ms = commanded, False, None, 0
            if inlet[0] == GOOD and oil[0] == GOOD:
                if commanded and oil[1] >= inlet[1] + 1500:
                    self.due = (inlet[1], 1)
                elif not commanded and self.from_tank and inlet[1] >= 5500:
                    self.due = (inlet[1], -1)
        if self.due is None or inlet[0] != GOOD:
            return
        if (inlet[1] - self.due[0]) * self.due[1] >= 500:
            self.due = None
            return
        self.waited_ms += elapsed_ms
        if self.waited_ms >= 1000 * self.window_s:
            self.due, self.unfollowed = None, True


@dataclass
class SlowModel:
    """`blocked`, `forced`: rows as sets. `state` and the two valves: what the law should show after the same tick."""

    values: dict[str, int]
    table: tuple[tuple, ...]
    valid: bool
    restarted: bool
    lines_dirty: bool
    filter: SlowFilter
    blocked: set[int] = field(default_factory=set)
    forced: set[int] = field(default_factory=set)
    state: str = "PARKED"
    supply_on: bool = False
    return_on: bool = False
    holds_engine: bool = False
    fill_ul: int = 0
    credit_ul: int = 0
    asks_write: bool = False

    def __post_init__(self) -> None:
        values = self.values
        self.looped = values["layout"] == LOOPED_RETURN
        self.purge_ul = ceil(values["path_ul"] / 1000) * values["purge_factor_permille"]
        self.limits = self._limits()
        self.texts = [
            [compile(row[column], row[rows.NAME], "eval") for column in (rows.BLOCKS, rows.FORCES)]
            for row in self.table
        ]
        self.guarded = [row for row in range(len(self.table)) if self._guarded(row)]
        self.contact = [SlowContact(*DEBOUNCE.get(index, (2, 2))) for index in range(10)]
        self.heater, self.inlet = SlowHeater(), SlowInlet(values)
        self.past: list[Moment] = []
        self.now_ms: int | None = None
        self.at_ms = self.since_second_ms = self.state_ms = self.engine_ms = self.dwell_ms = 0
        self.reverts = self.key_ons = self.lateness = 0
        self.record_dirty = self.remembered = self.lines_dirty
        self.memory_bad = self.excused = self.in_doubt = False
        self.stop_held = self.granted = self.was_ready = False
        self.press_ms = 0

    def _limits(self) -> dict[str, float]:
        values = self.values
        named = {
            "oil_entry": "oil_entry_cdegc", "oil_exit": "oil_exit_cdegc", "oil_hot": "oil_hot_cdegc",
            "coolant_entry": "coolant_entry_cdegc", "coolant_exit": "coolant_exit_cdegc",
            "starved": "suction_starved_pa", "suction_block": "suction_block_pa", "suction_force": "suction_force_pa",
            "supply_block": "supply_block_mv", "supply_force": "supply_force_mv",
            "oil_low_block": "oil_low_block_permille", "oil_low_force": "oil_low_force_permille",
            "oil_full": "oil_full_permille", "diesel_low_block": "diesel_low_block_permille",
            "diesel_low_force": "diesel_low_force_permille", "reverts_max": "reverts_max",
        }  # fmt: skip
        limits = {name: values[setting] for name, setting in named.items()}
        rises = 0 if self.looped else self.purge_ul / values["oil_tank_ml"]  # uL into mL are permille
        pump_entry = values["oil_limit_cdegc"] - 1800 if self.looped else -inf
        return limits | {"oil_room": limits["oil_full"] - rises, "pump_entry": pump_entry}

    # one tick

    def step(self, now_ms: int, levels: list[bool], channels: list[Verdict], suction: Verdict) -> None:
        """One tick with what the contacts showed and the verdicts on the sensors."""
        pause_ms = self._elapsed(now_ms)
        for contact, level in zip(self.contact, levels, strict=True):
            contact.sample(level)
        self.on = [contact.on for contact in self.contact]
        if self.state == "PARKED":
            if self.on[KEY]:
                self._key_on()
            elif not self.asks_write and self.state_ms > 30_000:
                self.state_ms += pause_ms
                return  # asleep
        self.since_second_ms += pause_ms
        if self.since_second_ms >= 1000:
            self.since_second_ms -= 1000
            flowing = self.supply_on and self.on[ENGINE]
            drawn = flowing and channels[OIL][0] == GOOD and suction[0] == GOOD
            self.filter.second(drawn, suction[1], channels[OIL][1])
            self.heater.second(flowing, channels[OIL][1], channels[COOLANT][1])
        self._judge(pause_ms, channels, suction)
        self._decide(pause_ms)
        self._heat(channels)

    def _elapsed(self, now_ms: int) -> int:
        before, self.now_ms = self.now_ms, now_ms
        gone = 0 if before is None else (now_ms - before) % CLOCK_PERIOD_MS
        if gone >= CLOCK_PERIOD_MS // 2:
            gone = 0  # backwards
        gone = min(gone, LONGEST_TICK_MS)
        self.at_ms += gone
        return gone

    def _key_on(self) -> None:
        self.key_ons += 1
        if self.key_ons > 1:
            self.restarted = False
        self.past, self.blocked, self.forced = [], set(), set()
        self.inlet.due, self.inlet.unfollowed = None, False
        self.heater.on, self.heater.proof = False, []
        self.filter.spent = False
        self.asks_write = self.asks_write or (self.memory_bad and self.lines_dirty)  # what flash did not take, again
        self.memory_bad = False
        self.reverts = self.dwell_ms = 0
        self.stop_held = self.granted = False

    # the table

    def _judge(self, pause_ms: int, channels: list[Verdict], suction: Verdict) -> None:
        names = self._names(pause_ms, channels, suction)
        shown = (set(), set())
        for row in self.guarded:
            for kind in (ENTERS, ENDS):
                if eval(self.texts[row][kind], {"__builtins__": {}}, names):
                    shown[kind].add(row)
        self.past.append(Moment(self.at_ms, shown))
        self.blocked = {row for row in shown[ENTERS] | self.blocked if self._stands(row, ENTERS, row in self.blocked)}
        self.forced = {row for row in shown[ENDS] | self.forced if self._stands(row, ENDS, row in self.forced)}
        self.filter.spent |= rows.RESTRICTED in self.forced

    def _guarded(self, row: int) -> bool:
        fitted = rows.FIT_SUPPLY_CONTACT * self.values["fit_supply_contact"]
        fitted |= (
            rows.FIT_RETURN_CONTACT * self.values["fit_return_contact"] | rows.FIT_HEATER * self.values["fit_heater"]
        )
        for name, index in FITTED.items():
            fitted |= self.values[f"fit_{name}"] << index
        needs = self.table[row][rows.NEEDS]
        return needs == rows.ALWAYS or needs & fitted != 0

    def _stands(self, row: int, kind: int, stood: bool) -> bool:
        spec = self.table[row]
        if not stood:
            return self._for_ms(row, kind, True) >= spec[rows.FORCE_MS if kind else rows.BLOCK_MS]
        return spec[rows.LATCH] == rows.LATCHED or self._for_ms(row, kind, False) < spec[rows.CLEAR_MS]

    def _for_ms(self, row: int, kind: int, holds: bool) -> int:
        """For how long the row's text has been true, or false, at every tick; -1 where it is not so now."""
        since = self.at_ms + 1
        for moment in reversed(self.past):
            if (row in moment.shown[kind]) != holds:
                break
            since = moment.at_ms
        return self.at_ms - since

    def _names(self, pause_ms: int, channels: list[Verdict], suction: Verdict) -> Mapping[str, object]:
        def trusted(verdict: Verdict) -> float:
            return verdict[1] if verdict[0] == GOOD else nan  # no comparison with nan is true

        def bad(verdict: Verdict) -> bool:
            return verdict[0] not in (GOOD, NOT_FITTED, SETTLING)

        oil, tank = trusted(channels[OIL]), trusted(channels[OIL_TANK])
        every = [*channels, suction]
        return self.limits | {
            "coolant": trusted(channels[COOLANT]), "pump_inlet": trusted(channels[PUMP_INLET]),
            "oil": oil, "oil_coldest": tank if tank < oil else oil,
            "suction": trusted(suction), "suction_mean": self.filter.mean, "spent": self.filter.spent, "supply": trusted(channels[SUPPLY]),
            "oil_level": trusted(channels[OIL_LEVEL]), "diesel_level": trusted(channels[DIESEL_LEVEL]),
            "engine": self.on[ENGINE], "engine_ms": self.engine_ms,
            "settling": any(verdict[0] == SETTLING for verdict in every),
            "coolant_bad": bad(channels[COOLANT]), "oil_bad": bad(channels[OIL]), "suction_bad": bad(suction),
            "other_bad": any(bad(channels[index]) for index in FITTED.values()), "air": self.filter.air,
            "supply_unfollowed": self._supply_unfollowed(pause_ms, channels),
            "return_unfollowed": bool(self.values["fit_return_contact"])
            and not self.looped
            and self.on[RETURN_CONTACT] != self.return_on,
            "heater_failed": self.heater.failed, "settings_bad": not self.valid, "restarted": self.restarted,
            "late": self._late(pause_ms), "memory_bad": self.memory_bad, "lines_dirty": self.lines_dirty,
            "reverts": self.reverts, "dwell_ms": self.dwell_ms, "never": False,
        }  # fmt: skip

    def _supply_unfollowed(self, pause_ms: int, channels: list[Verdict]) -> bool:
        if self.values["fit_supply_contact"]:
            self.in_doubt = self.on[SUPPLY_CONTACT] != self.supply_on
            return self.in_doubt
        if self.on[ENGINE]:
            self.inlet.tick(self.supply_on, channels[PUMP_INLET], channels[OIL], pause_ms)
        due = self.inlet.due if channels[PUMP_INLET][0] == GOOD else None
        self.in_doubt = self.inlet.unfollowed or (due is not None and due[1] < 0)
        return self.inlet.unfollowed

    def _late(self, pause_ms: int) -> bool:
        if pause_ms > LATE_MS and not self.excused:
            self.lateness = min(self.lateness + 10, 50)
        else:
            self.lateness = max(self.lateness - 1, 0)
        self.excused = False
        return self.lateness >= 20

    # the states

    def _decide(self, pause_ms: int) -> None:
        running, key = self.on[ENGINE], self.on[KEY]
        self.state_ms += pause_ms
        self.engine_ms = self.engine_ms + pause_ms if running else 0
        self.dwell_ms = max(0, self.dwell_ms - pause_ms)
        self._listen(pause_ms)
        if (
            rows.SUPPLY_VALVE in self.forced and self.in_doubt and self.on[ENGINE]
        ):  # it may let oil in, whatever the state: nothing counts as purged
            self.lines_dirty, self.credit_ul = True, 0
            if not self.record_dirty:
                self.record_dirty = self.asks_write = True
        if self.state == "PARKED":
            if key:
                self._go("PURGING" if self.lines_dirty else "ON_DIESEL")
        elif not key:
            self._without_key(pause_ms)
        elif self.state == "RUN_ON":
            self._go("PURGING")
        elif self.state == "PURGING":
            if self._forbidden():
                self._go("ON_DIESEL")
            else:
                self._credit(pause_ms, "ON_DIESEL")
        elif self.state == "ON_DIESEL":
            self._on_diesel()
        else:
            self._on_oil(pause_ms)
        energised = self.values["authority"] != ADVISE
        self.holds_engine = self.state == "RUN_ON" or (
            energised and self.state != "PARKED" and self._may_begin_run_on()
        )
        self.supply_on = energised and self.state in ("FILLING", "ON_OIL") and self.engine_ms >= SUPPLY_AFTER_MS
        self.return_on = (
            energised
            and not self.looped
            and self.state in ("ON_OIL", "PURGING", "RUN_ON")
            and self.engine_ms >= RETURN_AFTER_MS
        )

    def _go(self, state: str) -> None:
        self.state, self.state_ms = state, 0
        if state == "PARKED":
            if not self.memory_bad:
                self.record_dirty = self.lines_dirty
            self.asks_write = True
            self.filter.key_off(rows.AIR in self.forced)

    def _forbidden(self) -> bool:
        """A purge is forbidden: by the rows that end on diesel, a doubtful one by low diesel too. A loop returns nothing to a tank."""
        if self.in_doubt and rows.DIESEL_LOW in self.forced:
            return True
        if not self.in_doubt and rows.SUPPLY_VALVE in self.forced and self.credit_ul >= self.purge_ul:
            return True  # the whole volume has passed, and is not believed
        spared = (rows.RETURN_VALVE, rows.NO_ROOM) if self.looped else ()
        return any(self.table[row][rows.AFTER] == rows.TO_DIESEL for row in self.forced if row not in spared)

    def _listen(self, pause_ms: int) -> None:
        """Selector and button."""
        authority, ready = self.values["authority"], self.on[READY]
        before_ms, self.press_ms = self.press_ms, self.press_ms + pause_ms if self.on[BUTTON] else 0
        if before_ms < LONG_PRESS_MS <= self.press_ms:
            self.stop_held = not self.stop_held
        if not ready:
            self.granted = False
        elif authority == PERMIT and not self.was_ready:
            self.granted = self.state == "ON_DIESEL" and not self.blocked and not self.forced and not self.stop_held
        self.was_ready = ready
        self.wanted = ready and not self.stop_held and (authority == AUTOMATIC or self.granted)

    def _on_diesel(self) -> None:
        if self.lines_dirty:
            if not self._forbidden():
                self._go("PURGING")
        elif not self.wanted or self.blocked or self.forced:
            if self.record_dirty and not self.asks_write and not self.memory_bad:
                self.record_dirty, self.asks_write = False, True  # announced, and nothing was let in
        elif not self.record_dirty:
            self.record_dirty = self.asks_write = True  # the record comes first
        elif self.remembered and not self.asks_write:
            self.lines_dirty = True
            self.fill_ul = self.credit_ul = 0
            self._go("ON_OIL" if self.looped else "FILLING")

    def _on_oil(self, pause_ms: int) -> None:
        if self.forced or not self.wanted:
            if self.forced and min(self.forced) != rows.ENGINE:  # the gravest is the reason
                self.reverts += 1
            self.granted = False
            self.dwell_ms = 1000 * self.values["dwell_diesel_s"]
            self.credit_ul = 0
            self._go("ON_DIESEL" if self._forbidden() else "PURGING")
        elif self.state == "FILLING":
            if pause_ms >= LONGEST_TICK_MS:
                pause_ms = WATCHDOG_MS
            target = self.values["path_ul"] // 2
            self.fill_ul = min(target, self.fill_ul + ceil(self.values["flow_max_ul_s"] * pause_ms / 1000))
            if self.fill_ul >= target:
                self._go("ON_OIL")

    def _credit(self, pause_ms: int, then: str) -> None:
        if not self.on[ENGINE]:
            return
        flow = self.values["flow_measured_ul_s"] * 4 // 5
        self.credit_ul = min(self.purge_ul, self.credit_ul + flow * pause_ms // 1000)
        if self.credit_ul >= self.purge_ul and not self.in_doubt and rows.SUPPLY_VALVE not in self.forced:
            self.lines_dirty = self.record_dirty = False
            self.asks_write = True
            self._go(then)

    def _may_run_on(self) -> bool:
        faults = {rows.COOLANT_SENSOR, rows.OIL_SENSOR, rows.OIL_HOT, rows.SUPPLY_VALVE, rows.ENGINE}
        switches = all(self.on[switch] for switch in (BRAKE, NEUTRAL, BONNET))
        return switches and not self.forced & faults and not self._forbidden()

    def _may_begin_run_on(self) -> bool:
        return bool(self.values["run_on_s"]) and self.lines_dirty and self.on[ENGINE] and self._may_run_on()

    def _without_key(self, pause_ms: int) -> None:
        if self.state == "RUN_ON":
            self._credit(pause_ms, "PARKED")
            over = self.state_ms >= 1000 * self.values["run_on_s"]
            if self.state == "RUN_ON" and (over or not self._may_run_on()):
                self._go("PARKED")
        elif self._may_begin_run_on() and self.values["authority"] != ADVISE:
            if self.state != "PURGING":
                self.credit_ul = 0
            self._go("RUN_ON")
        else:
            self._go("PARKED")

    def written(self, succeeded: bool, said_dirty: bool) -> None:
        """The record is in flash and reads back, or it is not."""
        self.excused = True
        if succeeded:
            self.remembered = said_dirty
            self.asks_write = said_dirty != self.record_dirty
        else:
            self.memory_bad = self.record_dirty = True
            self.asks_write = False

    def _heat(self, channels: list[Verdict]) -> None:
        if not self.values["fit_heater"] or self.values["authority"] == ADVISE:
            return
        off = self.values["heater_off_cdegc"] - (0 if self.heater.on else 200)
        supply, coolant, oil = channels[SUPPLY], channels[COOLANT], channels[OIL]
        self.heater.on = (
            self.state != "PARKED"
            and not self.stop_held
            and self.on[ENGINE]
            and self.engine_ms >= SUPPLY_AFTER_MS
            and coolant[0] == GOOD
            and coolant[1] >= 4000
            and (supply[0] == NOT_FITTED or (supply[0] == GOOD and supply[1] >= 12_800))
            and oil[0] == GOOD
            and oil[1] < off
        )
