"""What the compiled build is compared by. Runs under either: the packages come from PYTHONPATH.

    python runs.py drives|forks|speed

Prints where the packages come from, then lines that say everything of each run: floats as hexadecimal, lists by hash.
"""

from __future__ import annotations

import copy
import hashlib
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from time import process_time

import changeover.law
import host_sim.loop
from changeover.states import ON_OIL, PURGING, RUN_ON
from host_sim import grid
from host_sim.catalogue import CATALOGUE
from host_sim.drive import Drive
from host_sim.faults import Fault
from host_sim.loop import Loop
from host_sim.profile import load_profile
from host_sim.scenario import load_scenario
from host_sim.signals import DIGITAL_NAMES
from host_sim.ways import RIGS

TANK_RETURN_AUTOMATIC, LOOPED_PERMIT = RIGS[2], RIGS[4]


def state(loop: Loop) -> list[object]:
    """The floats of car and judges, and what board and law hold, as they are now."""
    car, law = loop.car, loop.board.law
    net, path = car.net, car.path
    floats = [
        *net.heat, net.bulk_j_k, net.diesel_j_k, net.booked_j, net.wax_c, net.opening, net.at_valve_c, path.inside_ul,
        path.stirred_out, path.laminar_out, path.stirred_in, path.laminar_in, path.stirred_pump, path.laminar_pump,
        path.plug_pump_c, path.stirred_pump_c, path.laminar_pump_c, car.pump_index_worst, car.inside_index_worst,
        car.oil_ul, car.diesel_ul, car.filter_litres, car.suction_pa, car.pump_suction_pa, car.feed_ul_s, car.burn_ul_s,
        car.supply_v, car.supply_min_v, car.battery_charge, car.supply_valve_pos, car.return_valve_pos,
        *loop.monitors.margins.values(), loop.ideal.on_oil_s, loop.totals.time_on_oil_s, loop.totals.distance_km,
    ]  # fmt: skip
    machine = law.machine
    return [
        [value.hex() for value in floats], loop.signals.raw, loop.signals.digital, loop.board.slots[0].hex(),
        machine.state, machine.moves, law.interlocks.blocked, law.interlocks.forced, law.panel.message,
        machine.lines.fill_ul, machine.lines.credit_ul, law.restriction.mean_pa,
    ]  # fmt: skip


def drives() -> Iterator[str]:
    """Two layouts, faults that are made on the readings and on the car, every tick of it."""
    for name, profile, layout, end_s in (
        ("winter_commute", "full_guard", "tank_return", 2700.0),
        ("mountain_cold_line", "full_guard", "tank_return", 600.0),
        ("winter_commute", "looped", "looped_return", 1500.0),
    ):
        scenario = load_scenario(name).model_copy(
            update={"layout": layout, "trip": load_scenario("winter_commute").trip}
        )
        drive = Drive(scenario, load_profile(profile), seed=5)
        for fault in (
            Fault("slow", "oil", 4.0), Fault("delayed", "coolant", 2.0), Fault("noise", "suction", 1.0), Fault("ground_lifted"),
            Fault("intermittent", "engine", 30.0), Fault("thermostat_open"), Fault("filter_clogged", None, 3.0),
        ):  # fmt: skip
            drive.injector.start(fault, drive.car, drive.board)
        digest = hashlib.sha256()
        drive.on_tick = lambda t_s, drive=drive, digest=digest: digest.update(json.dumps(state(drive)).encode())
        drive.run(end_s)
        yield f"{name} {profile} {drive.board.ticks} {digest.hexdigest()} {json.dumps(state(drive))}"


def forks() -> Iterator[str]:
    """A fault of each kind in a fork of a drive on oil, some in other forks; and a fork and a copy beside the original."""
    kinds = {(entry.kind, entry.channel in DIGITAL_NAMES): entry for entry in CATALOGUE}
    for rig, in_state, faults in (
        (TANK_RETURN_AUTOMATIC, ON_OIL, tuple(kinds.values())),
        (TANK_RETURN_AUTOMATIC, RUN_ON, CATALOGUE[::20]),
        (LOOPED_PERMIT, PURGING, CATALOGUE[5::20]),
    ):
        for entry in faults:
            cell = grid.Cell(entry.id, in_state, 1, rig)
            yield f"{cell.name} {json.dumps(grid.run_cell(cell).as_dict())}"
    trip = grid.way(TANK_RETURN_AUTOMATIC)
    loop, _ = trip.at(trip.moment(ON_OIL, 1))
    before = state(loop)
    twin = loop.fork()
    car = copy.deepcopy(loop.car)
    twin.run_to(twin.now_ms + 30_000)
    car.advance(1.0)
    yield f"twin {state(loop) == before} {json.dumps(state(twin))} {car.oil_ul.hex()}"


def speed() -> Iterator[str]:
    """Processor time of a tick in us, board awake, drive after drive."""
    scenario = load_scenario("winter_commute")
    drive = Drive(scenario, load_profile(scenario.profile))
    begun = process_time()
    drive.run(900.0)
    yield str(1e6 * (process_time() - begun) / drive.board.ticks)


if __name__ == "__main__":
    print(*(Path(module.__file__ or "").suffix for module in (changeover.law, host_sim.loop)))
    for line in {"drives": drives, "forks": forks, "speed": speed}[sys.argv[1]]():
        print(line)
