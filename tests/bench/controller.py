"""Bar a: the controller's step beside a flat one written by hand and beside two state-machine packages."""

from __future__ import annotations

import gc
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from time import process_time
from typing import Any

from changeover import rows
from changeover.sensing import GOOD, OPEN, SETTLING
from changeover.states import ON_OIL, PARKED
from host_sim.profile import load_profile
from tests.bench.packages import on_statemachine, on_transitions
from tests.bench.players import FlatPlayer, LawPlayer, PackagePlayer, Player, WholeLawPlayer
from tests.bench.record import FIELDS, Record, record, rows_met, typical
from tests.bench.table import Bar, Spread, spread

ROUNDS = 7
_SEED = 20
_SHAKEN_TICKS = 40000
_TURNED = 2  # the opposite of what it would be
_QUIET = {
    "coolant": 8500, "oil": 8000, "suction": 6000, "oil_tank": 8100, "oil_level": 600, "diesel_level": 600,
    "supply": 14000, "key": 1, "engine": 1, "ready": 1, "brake": 0, "neutral": 0, "bonnet": 1, "mean_pa": 5000,
}  # fmt: skip
_SHAKES: dict[str, tuple[int, ...]] = {
    "coolant": (5900, 6900), "oil": (6400, 6600, 9800, 10100), "suction": (26000, 36000), "oil_tank": (6600,),
    "oil_level": (30, 70, 920, 990), "diesel_level": (20, 70), "supply": (9000, 11000),
    "coolant_why": (OPEN, SETTLING), "oil_why": (OPEN,), "suction_why": (OPEN,), "oil_tank_why": (OPEN,),
    "inlet_why": (OPEN, SETTLING), "oil_level_why": (OPEN,), "diesel_level_why": (OPEN,), "supply_why": (OPEN,),
    "key": (0,), "engine": (0,), "ready": (0,), "button": (1,),
    "supply_contact": (_TURNED,), "return_contact": (_TURNED,),
    "mean_pa": (30000,), "spent": (1,), "air": (1,), "heater_failed": (1,), "dt_ms": (300, 1000),
}  # fmt: skip


def shaken() -> Record:
    """Readings that leave their quiet values one after another, for a moment or for longer than any hold time.

    Not a drive: it brings up the rows that no drive of an hour would. The law's own parts decide.
    """
    changes = (
        "path_ul=100000", "flow_measured_ul_s=15625", "purge_factor_permille=1500", "dwell_diesel_s=10",
        "reverts_max=3", "run_on_s=100",
    )  # fmt: skip
    kept = Record(load_profile("full_guard", changes))
    player = LawPlayer(kept.values)
    rng = random.Random(_SEED)
    kept.boots[0] = (False, b"")
    shakes = list(_SHAKES)
    what, instead, left, wanted_before = "", 0, 0, False
    for tick in range(_SHAKEN_TICKS):
        machine = player.law.machine
        left -= 1
        if left <= 0 or (not what and machine.state == ON_OIL and machine.state_ms > 3000):
            what = "" if what else "key" if rng.random() < 0.2 else rng.choice(shakes)
            instead = rng.choice(_SHAKES[what]) if what else 0
            left = rng.choice((1, 21, 60, 120)) if what else 250
        now = dict.fromkeys(FIELDS, GOOD) | _QUIET
        now |= {"dt_ms": 100, "supply_contact": machine.supply_on, "return_contact": machine.return_on}
        if what:
            now[what] = not now[what] if instead == _TURNED else instead
        if what == "key":  # with what the held-on engine needs, for half of the time
            now |= {"brake": 1, "neutral": 1, "bonnet": tick % 4000 < 2000}
        if now["key"] and machine.state == PARKED:
            kept.restarts.add(tick)
            player.restart()
        kept.readings.append(tuple(now[name] for name in FIELDS))
        player.step(kept.readings[-1:])
        kept.decided.append(player.decided())
        if machine.write_wanted and wanted_before:
            kept.answers[tick] = (rng.random() > 0.05, machine.record_dirty)
            player.written(*kept.answers[tick])
        wanted_before = machine.write_wanted
    return kept


def disagreement(player: Player, kept: Record) -> int | None:
    """The first tick at which the player decides otherwise than the record; None: it never does."""
    for tick, reading in enumerate(kept.readings):
        if tick in kept.boots:
            player.boot(kept.boots[tick][0])
        if tick in kept.restarts:
            player.restart()
        player.step([reading])
        if player.decided() != kept.decided[tick]:
            return tick
        if tick in kept.answers:
            player.written(*kept.answers[tick])
    return None


@dataclass
class Runner:
    """One thing to time: `play` on the record's `ticks`, less `load` alone."""

    name: str
    player: Player
    play: Callable[[Any], None]
    load: Callable[[Any], None]
    ticks: Sequence[Any]
    us: list[float] = field(default_factory=list)

    def round(self, kept: Record) -> None:
        """One round; keeps us a tick."""
        gc.collect()
        gc.disable()
        spent = self._through(kept, self.play) - self._through(kept, self.load)
        gc.enable()
        self.us.append(1e6 * spent / len(self.ticks))

    def _through(self, kept: Record, play: Callable[[Any], None]) -> float:
        spent = 0.0
        for first, end in kept.stretches():
            if first in kept.boots:
                self.player.boot(kept.boots[first][0])
            if first in kept.restarts:
                self.player.restart()
            ticks = self.ticks[first:end]
            begun = process_time()
            play(ticks)
            spent += process_time() - begun
            if end - 1 in kept.answers:
                self.player.written(*kept.answers[end - 1])
        return spent


def _nothing(_ticks: Sequence[Any]) -> None:
    pass


def measure() -> tuple[list[Bar], str, Record]:
    """The bars, a list of what each variant costs, and the record, which other parts of the bench play too."""
    kept = record(typical())
    rough = shaken()
    values = kept.values
    flat, law, whole = FlatPlayer(values), LawPlayer(values), WholeLawPlayer(values)
    runners = [
        Runner("flat", flat, flat.step, _nothing, kept.readings),
        Runner("law", law, law.step, law.load, kept.readings),
        Runner("whole", whole, whole.whole, _nothing, kept.raw),
        Runner("decision", law, law.decide, law.load_masks, kept.masks),
    ]
    checked: dict[str, Player] = {"flat": FlatPlayer(rough.values), "law": LawPlayer(rough.values)}
    compared: dict[str, list[Player]] = {"flat": [flat], "law": [law]}
    missing: dict[str, str] = {}
    for name, build in (("transitions", on_transitions), ("python-statemachine", on_statemachine)):
        try:
            player = PackagePlayer(values, build)
        except ImportError as error:
            missing[name] = f"{name} is not installed ({error})"
            continue
        compared[name] = [player]
        checked[name] = PackagePlayer(rough.values, build)
        runners.append(Runner(name, player, player.step, player.load, kept.readings))
        runners.append(Runner(name + " decision", player, player.decide, player.load_masks, kept.masks))
    differs = {name: (disagreement(compared[name][0], kept), disagreement(checked[name], rough)) for name in compared}
    rng = random.Random(_SEED)
    for _ in range(ROUNDS):
        for runner in rng.sample(runners, len(runners)):
            runner.round(kept)
    us = {runner.name: runner.us for runner in runners}

    def ratio(slow: str, fast: str) -> Spread:
        return spread([a / b for a, b in zip(us[slow], us[fast], strict=True)])

    bars = [
        _agreement(kept, rough, differs),
        _bar("controller step, on trusted readings: at most 1.5 times the flat one", ratio("law", "flat"), most=1.5),
        Bar(
            "a",
            "whole step of the law, with sensing, trust, heater and panel over the same flat step",
            str(ratio("whole", "flat")),
            None,
            {"ratio": vars(ratio("whole", "flat"))},
            no_bar=True,
        ),
    ]
    for name, whole_least, decision_least in (("transitions", 6, 15), ("python-statemachine", 50, 15)):
        asks = f"controller step: at least {whole_least} times faster than on {name}"
        asks_decision = f"decision alone: at least {decision_least} times faster than on {name}"
        if name in missing:
            bars += [Bar("a", asks, missing[name], None), Bar("a", asks_decision, missing[name], None)]
            continue
        bars.append(_bar(asks, ratio(name, "law"), least=whole_least))
        bars.append(_bar(asks_decision, ratio(name + " decision", "decision"), least=decision_least))
    names = {
        "flat": "flat step by hand",
        "law": "the law's conditions, interlocks and machine",
        "whole": "the law's whole step",
        "decision": "the law's decision alone",
    }
    lines = ["Controller, us a tick: median (least to most)"]
    for name, values_us in us.items():
        found = spread(values_us)
        lines.append(f"  {names.get(name, name):<52}{found.median:>9.2f} ({found.low:.2f} to {found.high:.2f})")
    bars[1].numbers["us"] = {name: vars(spread(values_us)) for name, values_us in us.items()}
    return bars, "\n".join(lines), kept


def _bar(asks: str, found: Spread, most: float | None = None, least: float | None = None) -> Bar:
    met = found.median <= most if most is not None else found.median >= (least or 0.0)
    return Bar("a", asks, str(found), met, {"ratio": vars(found)})


def _agreement(kept: Record, rough: Record, differs: dict[str, tuple[int | None, int | None]]) -> Bar:
    blocked, forced, of = rows_met(rough)
    wrong = [
        f"{name} differs at tick {tick} of the {what}"
        for name, ticks in differs.items()
        for what, tick in zip(("drive", "shaken readings"), ticks, strict=True)
        if tick is not None
    ]
    same = (
        f"{', '.join(differs)}: all alike on {len(kept.readings):,} ticks of a drive and {len(rough.readings):,} of "
        f"shaken readings, in which {blocked} of {of} rows blocked and {forced} of {len(_FORCING)} forced"
    )
    return Bar(
        "a",
        "flat and package variants give the same masks, states, commands and reasons, tick for tick",
        "; ".join(wrong) or same,
        not wrong,
        {
            "differs": {name: list(ticks) for name, ticks in differs.items()},
            "rows_blocked": blocked,
            "rows_forced": forced,
        },
    )


_FORCING = [row for row in rows.TABLE if row[rows.FORCES] != "never"]
