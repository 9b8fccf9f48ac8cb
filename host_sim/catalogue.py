"""The fault catalogue: what can break, what finds it out, how soon it ends on diesel and is told, and what covers the rest.

One row a fault. It drives the injector, the grid of `secondtank faults`, the tests and `docs/faults.md`. Times count from the
moment from which the fault can show.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from changeover import rows
from changeover.states import FILLING, ON_DIESEL, ON_OIL, PURGING
from host_sim.faults import Fault

if TYPE_CHECKING:
    from host_sim.loop import Loop

_KEY_ON = (ON_DIESEL, FILLING, ON_OIL, PURGING)


def _awake(loop: Loop) -> bool:
    return loop.board.powered and loop.board.law.machine.state in _KEY_ON


# When a fault can show: in words, and as a question to the loop.
KEY_ON, RUNNING, OIL_LET_IN, SUPPLY_OFF = "key on", "engine runs", "supply valve on oil", "supply valve on diesel"
RETURN_SET, RETURN_OFF, FED = "return valve on oil", "return valve on diesel", "purging, selector on READY"
STARVES, CLOGGED, NEVER = "suction truly above the starved threshold", "suction truly above the exit threshold", "never"


def _two_valves(loop: Loop) -> bool:
    return loop.car.layout == "tank_return"


def _purging(loop: Loop) -> bool:
    return _awake(loop) and loop.board.law.machine.state == PURGING and loop.car.engine_running


SHOWS: dict[str, Callable[[Loop], bool]] = {
    KEY_ON: _awake,
    RUNNING: lambda loop: _awake(loop) and loop.car.engine_running,
    OIL_LET_IN: lambda loop: loop.board.supply_pin,
    SUPPLY_OFF: lambda loop: _awake(loop) and not loop.board.supply_pin,
    RETURN_SET: lambda loop: loop.board.return_pin,
    # the starter takes the voltage that holds a valve
    RETURN_OFF: lambda loop: _two_valves(loop) and _awake(loop) and not loop.board.return_pin and not loop.car.cranking,
    FED: lambda loop: _purging(loop) and loop.cockpit.ready,
    STARVES: lambda loop: loop.car.suction_pa > loop.board.values["suction_starved_pa"],
    CLOGGED: lambda loop: loop.car.suction_pa > loop.board.values["suction_force_pa"],
    NEVER: lambda loop: False,
}


@dataclass(frozen=True)
class Entry:
    """One fault of the catalogue.

    `found_by`: interlock rows, any of which finds it out (none: nothing can). `diesel_s`: from when it shows to the diesel
    command (None: no exit is claimed). `told_s`: to a message of one of those rows. `shows`: when it can show (a key of SHOWS);
    `in_trip`: only in the trip in which it begins, since a board that boots with it knows no better.
    `may_pass`: hazards that may pass their limit in spite of the law. `covered_by`: the margin or hardware barrier that covers
    what the law cannot. `after`: what brings oil back.
    """

    id: str
    kind: str
    channel: str | None = None
    size: float | None = None
    duration_s: float | None = None
    other: str | None = None
    found_by: tuple[int, ...] = ()
    diesel_s: float | None = None
    told_s: float | None = None
    shows: str = NEVER
    in_trip: bool = False
    may_pass: tuple[str, ...] = ()
    covered_by: str = ""
    after: str = ""

    def fault(self, onset_ms: int) -> Fault:
        """The fault as the injector takes it."""
        duration_ms = None if self.duration_s is None else round(1000.0 * self.duration_s)
        return Fault(self.kind, self.channel, self.size, onset_ms, duration_ms, self.other)


_HEALS = "4 s of good readings, then the shortest time on diesel"
_KEY = "key off and on"
_SENSOR_S, _SENSOR_TOLD_S = 0.5, 1.0


def _found(row: int, diesel_s: float, told_s: float, shows: str, after: str = _HEALS) -> dict:
    return {"found_by": (row,), "diesel_s": diesel_s, "told_s": told_s, "shows": shows, "after": after}


def _broken(channel: str, row: int, jump: float | None = None) -> list[Entry]:
    """What is noticed by the reading alone. `jump`: a value that is so far from the truth that it can only be a jump."""
    name = channel.replace("_", "-")
    at_once = _found(row, _SENSOR_S, _SENSOR_TOLD_S, KEY_ON)
    entries = [
        Entry(f"{name}-open", "open", channel, **at_once),
        Entry(f"{name}-short", "short", channel, **at_once),
        Entry(f"{name}-open-for-5-s", "open", channel, duration_s=5.0, **at_once),
        Entry(
            f"{name}-intermittent",
            "intermittent",
            channel,
            1.0,
            **_found(row, 4.0, 4.5, KEY_ON),
            covered_by="a break of 0.2 s or less is bridged by the last good reading",
        ),
    ]
    if jump is not None:
        entries.append(
            Entry(
                f"{name}-stuck-far-off",
                "stuck",
                channel,
                jump,
                in_trip=True,
                may_pass=("H8",),
                covered_by="a board that boots with it reads cold: no oil; found out as frozen after 10 min",
                **at_once,
            )
        )
    return entries


def _unnoticed(
    ident: str, kind: str, channel: str | None, size: float | None, covered_by: str, *may_pass: str
) -> Entry:
    return Entry(ident, kind, channel, size, covered_by=covered_by, may_pass=may_pass)


_OFFSET = "thresholds lie above the H1 limit by more than the offset that the validator assumes"
_COLDER = "reads cold: less oil is burnt, nothing worse"
_LAG = "oil cools slowly against this lag; entry asks for the coldest of two sensors and for warm coolant"
_FROZEN_OIL = (
    "oil is heated by coolant alone: the coolant's own exit floor ends it; found out by `frozen` once 5 K were due"
)
_FROZEN_COOLANT = "coolant only permits; oil has its own exit floor; found out by `frozen` while the engine is cold"

_NTC = [
    *_broken("coolant", rows.COOLANT_SENSOR, 20.0),
    *_broken("oil", rows.OIL_SENSOR, 20.0),
    *_broken("oil_tank", rows.OTHER_SENSOR, 20.0),
    *_broken("pump_inlet", rows.OTHER_SENSOR),
    Entry("coolant-noisy", "noise", "coolant", 6.0, **_found(rows.COOLANT_SENSOR, 10.0, 10.5, KEY_ON)),
    Entry("oil-noisy", "noise", "oil", 6.0, **_found(rows.OIL_SENSOR, 10.0, 10.5, KEY_ON)),
    Entry(
        "coolant-scale-low",
        "scale",
        "coolant",
        0.8,
        **_found(rows.COOLANT_SENSOR, _SENSOR_S, _SENSOR_TOLD_S, KEY_ON),
        in_trip=True,
        may_pass=("H8",),
        covered_by=_COLDER,
    ),
    Entry(
        "oil-scale-high",
        "scale",
        "oil",
        1.25,
        **_found(rows.OIL_SENSOR, _SENSOR_S, _SENSOR_TOLD_S, KEY_ON),
        in_trip=True,
        may_pass=("H8",),
        covered_by="the ice-and-boiling check before first use, and after any change of sensor",
    ),
    Entry(
        "coolant-oil-swapped",
        "swapped",
        "coolant",
        other="oil",
        may_pass=("H8",),
        covered_by="noticed by the jump where they stand 5 K apart; else coolant's exit floor, above the oil limit, guards the oil",
    ),
    _unnoticed("coolant-frozen", "frozen", "coolant", None, _FROZEN_COOLANT, "H8"),
    _unnoticed("oil-frozen", "frozen", "oil", None, _FROZEN_OIL, "H8"),
    _unnoticed("oil-tank-frozen", "frozen", "oil_tank", None, "the filter's sensor decides the exit", "H8"),
    _unnoticed(
        "pump-inlet-frozen",
        "frozen",
        "pump_inlet",
        None,
        "the supply valve's contact tells of the valve; in a loop that booted with it, it reads cold: less oil is burnt",
        "H8",
    ),
    _unnoticed(
        "coolant-miscalibrated-high", "offset", "coolant", 4.0, "coolant only permits; oil has its own floor", "H8"
    ),
    _unnoticed("coolant-miscalibrated-low", "offset", "coolant", -4.0, _COLDER, "H8"),
    _unnoticed("oil-miscalibrated-high", "offset", "oil", 2.0, _OFFSET),
    _unnoticed("oil-miscalibrated-low", "offset", "oil", -4.0, _COLDER, "H8"),
    _unnoticed("oil-tank-miscalibrated-high", "offset", "oil_tank", 4.0, "the filter's own threshold stands beside it"),
    _unnoticed("coolant-slow", "slow", "coolant", 60.0, _LAG, "H8"),
    _unnoticed("oil-slow", "slow", "oil", 60.0, _LAG, "H8"),
    _unnoticed("coolant-delayed", "delayed", "coolant", 20.0, _LAG, "H8"),
    _unnoticed("oil-delayed", "delayed", "oil", 20.0, _LAG, "H8"),
    _unnoticed("oil-trembles", "noise", "oil", 0.3, "the exit floor waits 2 s"),
    _unnoticed("ambient-open", "open", "ambient", None, "the stop advice then takes the coldest day of the settings"),
    _unnoticed(
        "ambient-stuck-warm",
        "stuck",
        "ambient",
        25.0,
        "the advice is marked as an estimate; the warning at key-off stands",
    ),
]

_SUCTION = [
    *_broken("suction", rows.SUCTION_SENSOR),
    Entry(
        "suction-stuck-high",
        "stuck",
        "suction",
        60.0,
        **_found(rows.STARVED, 2.1, 2.5, KEY_ON, _KEY),
        may_pass=("H8",),
        covered_by="errs to diesel",
    ),
    Entry(
        "suction-scale-double",
        "scale",
        "suction",
        2.0,
        covered_by="reads more: the filter is changed too soon",
        may_pass=("H8",),
    ),
    _unnoticed(
        "suction-frozen",
        "frozen",
        "suction",
        None,
        "the engine falters before the pump is harmed; level guards the tank",
    ),
    _unnoticed(
        "suction-stuck-low",
        "stuck",
        "suction",
        5.0,
        "the engine falters before the pump is harmed; level guards the tank",
        "H8",
    ),
    _unnoticed("suction-offset-high", "offset", "suction", 5.0, "the filter is changed too soon", "H8"),
    _unnoticed(
        "suction-offset-low", "offset", "suction", -5.0, "7 kPa lie between the last threshold and 40 kPa at the pump"
    ),
    _unnoticed(
        "suction-scale-half",
        "scale",
        "suction",
        0.5,
        "the filter's change is advised late; level guards the tank",
        "H8",
    ),
    _unnoticed("suction-slow", "slow", "suction", 10.0, "a filter clogs over hours"),
    _unnoticed("suction-delayed", "delayed", "suction", 5.0, "a filter clogs over hours"),
    _unnoticed("suction-noisy", "noise", "suction", 2.0, "thresholds wait 1 s or 10 s"),
]

_LEVELS = [
    *_broken("oil_level", rows.OTHER_SENSOR),
    *_broken("diesel_level", rows.OTHER_SENSOR),
    _unnoticed(
        "oil-level-stuck-high",
        "stuck",
        "oil_level",
        0.5,
        "air at the filter shows in suction; fill by the odometer too",
        "H4",
    ),
    Entry(
        "oil-level-stuck-empty",
        "stuck",
        "oil_level",
        0.01,
        **_found(rows.OIL_LOW, 5.5, 6.0, KEY_ON),
        may_pass=("H8",),
        covered_by="errs to diesel",
    ),
    _unnoticed("oil-level-frozen", "frozen", "oil_level", None, "air at the filter shows in suction", "H4"),
    _unnoticed("oil-level-offset", "offset", "oil_level", 0.02, "thresholds leave more than this"),
    _unnoticed("diesel-level-stuck-high", "stuck", "diesel_level", 0.5, "the car's own gauge"),
    Entry(
        "diesel-level-stuck-empty",
        "stuck",
        "diesel_level",
        0.01,
        **_found(rows.DIESEL_LOW, 5.5, 6.0, KEY_ON),
        may_pass=("H8",),
        covered_by="errs to diesel",
    ),
]

_SUPPLY = [
    *_broken("supply", rows.OTHER_SENSOR),
    Entry(
        "supply-reading-low",
        "offset",
        "supply",
        -6.0,
        **_found(rows.SUPPLY_LOW, 0.6, 4.5, RUNNING),
        may_pass=("H8",),
        covered_by="errs to diesel",
    ),
    _unnoticed("supply-reading-high", "offset", "supply", 3.0, "a valve that drops out shows at its contact"),
    Entry(
        "supply-sag-11-v", "supply_sag", size=11.0, **{**_found(rows.SUPPLY_LOW, 3.5, 4.0, KEY_ON), "diesel_s": None}
    ),
    Entry(
        "supply-sag-9-v",
        "supply_sag",
        size=9.0,
        **_found(rows.SUPPLY_LOW, 0.6, 4.5, RUNNING),
        may_pass=("H3",),
        covered_by="told; one volume of the lines comes into the diesel tank",
    ),
    Entry("supply-sag-for-2-s", "supply_sag", size=6.0, duration_s=2.0, **_found(rows.SUPPLY_LOW, 0.6, 4.5, RUNNING)),
]

_SWITCHES = [
    Entry(
        "key-line-open",
        "open",
        "key",
        diesel_s=0.6,
        shows=KEY_ON,
        covered_by="to the board the key is off",
        may_pass=("H8",),
    ),
    _unnoticed("key-line-on", "stuck", "key", 1.0, "the supply valve's feed runs through the key", "H8"),
    _unnoticed(
        "key-bounces", "intermittent", "key", 0.1, "debounced; a long break parks the board and keeps the record", "H8"
    ),
    Entry(
        "engine-line-open",
        "open",
        "engine",
        diesel_s=1.0,
        shows=KEY_ON,
        covered_by="to the board the engine stands",
        may_pass=("H8",),
    ),
    _unnoticed("engine-line-on", "stuck", "engine", 1.0, "the key breaks the supply valve's feed", "H5", "H7", "H8"),
    Entry(
        "selector-line-open",
        "open",
        "ready",
        diesel_s=0.6,
        shows=KEY_ON,
        covered_by="a broken wire is DIESEL; the panel asks for READY though it stands there",
        may_pass=("H8",),
    ),
    _unnoticed(
        "selector-line-on", "stuck", "ready", 1.0, "DIESEL breaks the supply valve's feed in copper", "H8", "H9"
    ),
    _unnoticed("button-line-open", "open", "button", None, "DIESEL at the selector purges too"),
    _unnoticed("button-line-on", "stuck", "button", 1.0, "one long press: a purge, and diesel until key-off"),
    Entry(
        "supply-contact-off",
        "stuck",
        "supply_contact",
        0.0,
        **_found(rows.SUPPLY_VALVE, 3.0, 3.5, OIL_LET_IN, _KEY),
        may_pass=("H8",),
        covered_by="errs to diesel: the contact says what the valve did not do",
    ),
    Entry(
        "supply-contact-on",
        "stuck",
        "supply_contact",
        1.0,
        **_found(rows.SUPPLY_VALVE, 3.0, 3.5, SUPPLY_OFF, _KEY),
        may_pass=("H8",),
        covered_by="errs to diesel: the contact says what the valve did not do",
    ),
    Entry(
        "return-contact-off",
        "stuck",
        "return_contact",
        0.0,
        **_found(rows.RETURN_VALVE, 3.0, 3.5, RETURN_SET, _KEY),
        may_pass=("H3", "H8"),
        covered_by="errs to diesel: the contact says what the valve did not do; one volume of the lines comes into the diesel tank",
    ),
    Entry(
        "return-contact-on",
        "stuck",
        "return_contact",
        1.0,
        **_found(rows.RETURN_VALVE, 3.0, 3.5, RETURN_OFF, _KEY),
        may_pass=("H8",),
        covered_by="errs to diesel: the contact says what the valve did not do",
    ),
    _unnoticed("brake-line-open", "open", "brake", None, "a held-on engine stops"),
    _unnoticed("lighting-line-on", "stuck", "lighting", 1.0, "the panel is dimmed"),
]

_VALVES = [
    Entry(
        "supply-valve-stuck-on-oil",
        "supply_stuck",
        size=1.0,
        **_found(rows.SUPPLY_VALVE, 3.0, 3.5, SUPPLY_OFF, _KEY),
        may_pass=("H1", "H2", "H3", "H4", "H7", "H9"),
        covered_by="told at once, if nothing graver is; the driver keeps the record and must not stop for long",
    ),
    Entry(
        "supply-valve-stuck-on-diesel",
        "supply_stuck",
        size=0.0,
        **_found(rows.SUPPLY_VALVE, 3.0, 3.5, OIL_LET_IN, _KEY),
        may_pass=("H8",),
        covered_by="a record that says oil where none came costs a purge",
    ),
    Entry(
        "supply-valve-stuck-half-way",
        "supply_stuck",
        size=0.5,
        **_found(rows.SUPPLY_VALVE, 3.0, 3.5, OIL_LET_IN, _KEY),
        may_pass=("H1", "H2", "H3", "H4", "H7", "H8", "H9"),
        covered_by="its contact sees it only where oil is commanded; a second contact on diesel would see the rest",
    ),
    _unnoticed(
        "supply-valve-slow",
        "supply_slow",
        None,
        10.0,
        "its contact sees a slow opening after 2 s, a slow closing not at all: 5 s of oil more, which the purge takes along",
        "H7",
        "H8",
        "H9",
    ),
    _unnoticed(
        "supply-valve-leaks",
        "supply_leak",
        None,
        0.05,
        "oil seeps in on diesel: a purge at the selector before a cold stop",
        "H2",
        "H3",
        "H7",
    ),
    Entry(
        "return-valve-stuck-on-oil",
        "return_stuck",
        size=1.0,
        **_found(rows.RETURN_VALVE, 3.0, 3.5, RETURN_OFF, _KEY),
        may_pass=("H4", "H10"),
        covered_by="told; diesel runs into the oil tank: its level row and the car's own gauge see it; pull the return valve's fuse",
    ),
    Entry(
        "return-valve-stuck-on-diesel",
        "return_stuck",
        size=0.0,
        **_found(rows.RETURN_VALVE, 3.0, 3.5, RETURN_SET, _KEY),
        may_pass=("H3",),
        covered_by="3 s of oil come back into the diesel tank; told; refuelling thins it",
    ),
    Entry(
        "return-valve-stuck-half-way",
        "return_stuck",
        size=0.5,
        **_found(rows.RETURN_VALVE, 3.0, 3.5, RETURN_SET, _KEY),
        may_pass=("H3", "H4"),
        covered_by="told; a purge goes to the diesel tank by halves, and diesel into the oil tank; the car's own gauge; refuelling thins it",
    ),
    _unnoticed(
        "return-valve-slow",
        "return_slow",
        None,
        10.0,
        "its contact sees a slow opening after 2 s; a slow closing lets diesel into the oil tank, a cost",
        "H8",
        "H9",
    ),
    _unnoticed(
        "return-valve-leaks", "return_leak", None, 0.05, "counted as oil in the diesel tank; refuelling thins it", "H3"
    ),
    Entry(
        "supply-stage-shorted",
        "supply_stage",
        size=1.0,
        **_found(rows.SUPPLY_VALVE, 3.0, 3.5, FED, _KEY),
        may_pass=("H1", "H2", "H3", "H4", "H7", "H9"),
        covered_by="told, if nothing graver is; DIESEL at the selector breaks the feed in copper",
    ),
    Entry(
        "supply-stage-open",
        "supply_stage",
        size=0.0,
        **_found(rows.SUPPLY_VALVE, 3.0, 3.5, OIL_LET_IN, _KEY),
        may_pass=("H8",),
        covered_by="a record that says oil where none came costs a purge",
    ),
    Entry(
        "return-stage-shorted",
        "return_stage",
        size=1.0,
        **_found(rows.RETURN_VALVE, 3.0, 3.5, RETURN_OFF, _KEY),
        may_pass=("H4", "H10"),
        covered_by="told; the level row and the car's own gauge see diesel run into the oil tank; pull the return valve's fuse",
    ),
    Entry(
        "return-stage-open",
        "return_stage",
        size=0.0,
        **_found(rows.RETURN_VALVE, 3.0, 3.5, RETURN_SET, _KEY),
        may_pass=("H3",),
        covered_by="as a return valve stuck on diesel",
    ),
]

_OIL_SIDE = [
    Entry("filter-plugged", "filter_clogged", size=40.0, **_found(rows.STARVED, 2.1, 2.5, STARVES, _KEY)),
    Entry(
        "filter-clogging",
        "filter_clogged",
        size=8.0,
        **{**_found(rows.RESTRICTED, 10.6, 11.0, CLOGGED), "found_by": (rows.RESTRICTED, rows.STARVED)},
        covered_by="below the threshold the engine gets what it asks for",
    ),
    Entry("wax-plug", "wax_plug", size=50.0, **_found(rows.STARVED, 2.1, 2.5, STARVES, _KEY)),
    Entry(
        "water-slug",
        "water_slug",
        size=8.0,
        duration_s=20.0,
        covered_by="passes; a long one is a clogged filter to the board",
        may_pass=("H8",),
    ),
    _unnoticed(
        "element-burst",
        "element_burst",
        None,
        0.1,
        "found out as an air leak where the clean suction is over 4 kPa; else by the next trip's suction",
        "H8",
    ),
    _unnoticed(
        "air-leak-small", "air_leak", None, 0.1, "the engine falters; level and suction guard", "H3", "H4", "H8"
    ),
    Entry(
        "air-leak-large",
        "air_leak",
        size=0.7,
        covered_by="the engine falters and the driver turns to DIESEL; suction tells where it was over 4 kPa",
        may_pass=("H3", "H4", "H8"),
    ),
]

_HEAT = [
    _unnoticed(
        "heater-dead", "heater_dead", None, None, "oil is entered later; told after 5 min of heating without effect"
    ),
    _unnoticed("heater-welded", "heater_welded", None, None, "its own engine-running relay, thermal cut-out and fuse"),
    _unnoticed(
        "engine-relay-welded", "engine_relay_welded", None, None, "the board's own command goes with the engine"
    ),
    _unnoticed("thermostat-open", "thermostat_open", None, None, "coolant and oil have their exit floors"),
    _unnoticed("coolant-lost", "coolant_lost", None, 0.8, "the car's own gauge; oil has its own floor", "H8"),
]

_HELD_ENGINE = [
    _unnoticed(
        "run-on-relay-welded",
        "run_on_relay_welded",
        None,
        None,
        "timer relay, brake, neutral, bonnet, each alone",
        "H6",
    ),
    _unnoticed("run-on-timer-stuck", "run_on_timer_stuck", None, None, "the board's own time"),
    _unnoticed(
        "brake-switch-stuck",
        "brake_switch_stuck",
        None,
        None,
        "timer relay, neutral, bonnet, the engine's own stop",
        "H6",
    ),
    _unnoticed(
        "neutral-switch-stuck",
        "neutral_switch_stuck",
        None,
        None,
        "timer relay, brake, bonnet, the engine's own stop",
        "H6",
    ),
    _unnoticed(
        "bonnet-switch-stuck",
        "bonnet_switch_stuck",
        None,
        None,
        "timer relay, brake, neutral, the engine's own stop",
        "H6",
    ),
]

_BOARD = [
    Entry(
        "ground-lifted",
        "ground_lifted",
        size=500.0,
        **{
            **_found(rows.COOLANT_SENSOR, _SENSOR_S, _SENSOR_TOLD_S, KEY_ON),
            "found_by": (rows.COOLANT_SENSOR, rows.OIL_SENSOR, rows.SUCTION_SENSOR),
        },
        in_trip=True,
        may_pass=("H8",),
        covered_by="a board that boots with it reads cold, and suction high: no oil",
    ),
    _unnoticed("ground-worn", "ground_lifted", None, 20.0, "reads high by what the undetectable offset allows", "H8"),
    Entry("bus-held-low", "silent", **_found(rows.OTHER_SENSOR, _SENSOR_S, _SENSOR_TOLD_S, KEY_ON)),
    Entry(
        "board-hangs",
        "hang",
        size=10.0,
        **_found(rows.RESTARTED, 2.1, 3.0, KEY_ON, _KEY),
        in_trip=True,
        covered_by="pins stand for 2 s, then fall with the watchdog's reset",
    ),
    Entry("board-stalls", "stalls", size=0.4, **_found(rows.OVERRUN, 5.0, 5.5, KEY_ON)),
    Entry(
        "brown-out",
        "brown_out",
        duration_s=1.0,
        covered_by="de-energised is diesel; the record says what is in the lines",
    ),
    Entry(
        "no-feed",
        "brown_out",
        covered_by="de-energised is diesel; a dark panel says that the board is dead",
        may_pass=("H2", "H3"),
    ),
    Entry(
        "resets",
        "resets",
        size=5.0,
        may_pass=("H3", "H4", "H10"),
        covered_by="the record is written before oil is let in; a panel that begins anew again and again: DIESEL at the selector",
    ),
    _unnoticed("flash-refuses", "flash_refuses", None, None, "found out at the next write: no oil until key-off"),
    _unnoticed(
        "write-cut", "write_cut", None, 17.0, "two slots with a checksum; a damaged one counts as oil in the lines"
    ),
    _unnoticed(
        "erase-cut", "write_cut", None, 0.0, "two slots with a checksum; a damaged one counts as oil in the lines"
    ),
    Entry("settings-damaged", "settings_damaged", **_found(rows.SETTINGS, 0.3, 2.0, KEY_ON, "settings mended")),
]

CATALOGUE: tuple[Entry, ...] = (
    *_NTC, *_SUCTION, *_LEVELS, *_SUPPLY, *_SWITCHES, *_VALVES, *_OIL_SIDE, *_HEAT, *_HELD_ENGINE, *_BOARD,
)  # fmt: skip
BY_ID = {entry.id: entry for entry in CATALOGUE}
