"""The truth table of the hardware alone: against the simulated car's own copper, and against what must hold."""

from dataclasses import replace
from itertools import product
from typing import cast

import pytest

from changeover.settings import defaults
from drawings import feeds
from drawings.feeds import Feeds
from host_sim.car import Car
from host_sim.car_spec import default_car_path, load_car
from host_sim.faults import Injector
from host_sim.run_on import TIMER_S, RunOnChain
from host_sim.signals import Signals
from host_sim.virtual_board import VirtualBoard

BOTH = (False, True)
EVERY_PINS = [cast(tuple[bool, bool, bool, bool], pins) for pins in product(BOTH, repeat=4)]
SINGLE = [
    feeds.SUPPLY_SHORTED, feeds.RETURN_SHORTED, feeds.HEATER_WELDED, feeds.ENGINE_RELAY_WELDED, feeds.RUN_ON_WELDED, feeds.TIMER_STUCK,
    feeds.BRAKE_STUCK, feeds.NEUTRAL_STUCK, feeds.BONNET_STUCK, feeds.KEY_STUCK, feeds.SELECTOR_STUCK, *feeds.FUSES, feeds.SUPPLY_WIRE,
    feeds.RETURN_WIRE, feeds.HEATER_WIRE, feeds.STOP_WIRE, feeds.CUT_OUT_OPEN,
]  # fmt: skip


def test_valves_get_what_the_simulated_boards_copper_gives() -> None:
    car = Car(load_car(default_car_path()), "tank_return", 20.0)
    board = VirtualBoard(defaults(), car, Signals(1), Injector(1))
    tried = 0
    for key, ready, fed, supply, back in product(BOTH, repeat=5):
        for shorted, attribute in (
            ("", ""),
            (feeds.SUPPLY_SHORTED, "supply_stage"),
            (feeds.RETURN_SHORTED, "return_stage"),
        ):
            board.supply_stage = board.return_stage = None
            if attribute:
                setattr(board, attribute, 1.0)
            car.key_on, board.powered, board.signals.cockpit.ready = key, fed, ready
            board.supply_pin, board.return_pin = supply and fed, back and fed  # without feed the pins are down
            board._drive_coils()
            here = Feeds(
                key=key,
                ready=ready,
                board_fed=fed,
                pins=(supply, back, False, False),
                faults=frozenset({shorted} - {""}),
            )
            assert here.outputs()[:2] == (car.command_supply_oil, car.command_return_oil)
            tried += 1
    assert tried == 96


def test_heater_gets_what_the_simulated_cars_relays_give() -> None:
    car = Car(load_car(default_car_path()), "tank_return", 20.0)
    seen = set()
    for engine, heat, welded, engine_welded in product(BOTH, repeat=4):
        car.key_on, car.engine_rpm = True, 850.0 if engine else 0.0
        car.command_heater, car.heater_welded, car.engine_relay_welded = heat, welded, engine_welded
        car.advance(0.01)
        assert car.engine_running == engine
        faults = {feeds.HEATER_WELDED} if welded else set()
        faults |= {feeds.ENGINE_RELAY_WELDED} if engine_welded else set()
        here = Feeds(engine=engine, pins=(False, False, heat, False), faults=frozenset(faults))
        assert here.outputs()[2] == car.heater_on
        seen.add(car.heater_on)
    assert seen == {False, True}


def test_stop_solenoid_gets_what_the_simulated_chain_gives() -> None:
    wrong = {
        "": "", feeds.RUN_ON_WELDED: "relay_welded", feeds.TIMER_STUCK: "timer_stuck", feeds.BRAKE_STUCK: "brake_stuck",
        feeds.NEUTRAL_STUCK: "neutral_stuck", feeds.BONNET_STUCK: "bonnet_stuck",
    }  # fmt: skip
    for fault, attribute in wrong.items():
        for key, relay, brake, neutral, bonnet, in_time in product(BOTH, repeat=6):
            chain = RunOnChain()
            chain.relay_on, chain.brake_applied, chain.in_neutral, chain.bonnet_closed = relay, brake, neutral, bonnet
            if attribute:
                setattr(chain, attribute, True)
            here = Feeds(
                key=key, brake=brake, neutral=neutral, bonnet=bonnet, in_time=in_time, pins=(False, False, False, relay),
                faults=frozenset({fault} - {""}),
            )  # fmt: skip
            assert here.outputs()[3] == chain.feeds(key, 1.0 if in_time else TIMER_S + 1.0)


@pytest.mark.parametrize("fault", SINGLE)
def test_no_single_fault_holds_what_two_barriers_guard(fault: str) -> None:
    """Whatever the board commands."""
    for pins in EVERY_PINS:
        here = Feeds(pins=pins, faults=frozenset({fault}))
        # supply valve: key off and DIESEL together always end it, and so does either alone unless its own contact is stuck
        assert not replace(here, key=False, ready=False).outputs()[0]
        assert not replace(here, key=False).outputs()[0] or fault == feeds.KEY_STUCK
        assert not replace(here, ready=False).outputs()[0] or fault == feeds.SELECTOR_STUCK
        # a board without feed energises nothing but what a shorted stage does while driving on READY
        dead = replace(here, board_fed=False).outputs()
        assert not dead[0] or fault == feeds.SUPPLY_SHORTED
        assert not dead[1]
        assert not dead[2] or fault == feeds.HEATER_WELDED
        # heater: two relays
        assert not replace(here, engine=False).outputs()[2] or fault == feeds.ENGINE_RELAY_WELDED
        # run-on: any two of its switches open end it
        parked = replace(here, key=False, engine=False)
        if fault != feeds.KEY_STUCK:
            assert not replace(parked, brake=False, bonnet=False).outputs()[3]
            assert not replace(parked, in_time=False, neutral=False).outputs()[3]


def test_every_blown_fuse_and_broken_wire_only_takes_away() -> None:
    for fault in (
        *feeds.FUSES,
        feeds.SUPPLY_WIRE,
        feeds.RETURN_WIRE,
        feeds.HEATER_WIRE,
        feeds.STOP_WIRE,
        feeds.CUT_OUT_OPEN,
    ):
        lost = False
        for key, pins in product(BOTH, EVERY_PINS):
            whole = Feeds(key=key, pins=pins)
            broken = replace(whole, faults=frozenset({fault})).outputs()
            assert all(not now or before for now, before in zip(broken, whole.outputs(), strict=True))
            lost |= broken != whole.outputs()
        assert lost, fault


def test_table_shows_every_fault_and_says_on_only_where_a_guard_is_named() -> None:
    listed = list(feeds.situations())
    assert {fault for _, here, _ in listed for fault in here.faults} >= set(SINGLE) - {
        feeds.BRAKE_STUCK, feeds.NEUTRAL_STUCK, feeds.BONNET_STUCK,
    }  # fmt: skip
    for name, here, guard in listed:
        if "on" in feeds.answers(here)[:3]:
            assert len(guard) > 5, name
