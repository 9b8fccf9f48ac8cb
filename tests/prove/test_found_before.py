"""What the search has found, each cut to the shortest drive that showed it, with the fault it needs."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from changeover.states import ON_OIL, PARKED, RUN_ON
from tests.prove.test_any_hands import AnyHands

Drive = Callable[[AnyHands], None]


def stands(hands: AnyHands, **how: Any) -> None:
    """A warm car on oil, but for `how`."""
    usual: dict[str, Any] = {
        "setup": "automatic", "ambient_c": 20.0, "warm": True, "filter_litres": 0.0, "levels": (0.7, 0.7), "before_wrap_ms": None,
        "start": "on oil", "breaks_after_ms": 0,
    }  # fmt: skip
    hands.a_car_stands_there(**{**usual, **how})


def go_on(hands: AnyHands, times: int) -> None:
    """So many times 110 s as it is: the engine is never held on here."""
    for _ in range(times):
        hands.wait_for_state(RUN_ON)


def cold_start_in_a_loop(hands: AnyHands) -> None:
    stands(hands, setup="looped", ambient_c=0.0, warm=False)
    go_on(hands, 8)


def cold_start_in_deep_frost(hands: AnyHands) -> None:
    stands(hands, setup="frost", ambient_c=-20.0, warm=False)
    go_on(hands, 6)


def key_off_as_the_valve_opens(hands: AnyHands) -> None:
    stands(hands, setup="looped")
    hands.turn_key(False)
    hands.wait(30_100)


def key_off_and_on_again_at_once(hands: AnyHands) -> None:
    stands(hands, filter_litres=1850.0)
    hands.drive("motorway")
    hands.turn_key(False)
    hands.turn_key(True)
    hands.wait(30_100)


def tank_filled_to_the_brim_with_a_purge_to_do(hands: AnyHands) -> None:
    stands(hands, levels=(0.7, 0.09))
    hands.turn_key(False)
    hands.turn_key(True)
    hands.refuel("oil", 0.955)
    hands.crank(0.3)
    go_on(hands, 2)


def contact_off_and_a_purge_without_end(hands: AnyHands) -> None:
    stands(hands, levels=(0.7, 0.09))
    go_on(hands, 4)


def valve_stuck_on_oil_in_a_cold_car(hands: AnyHands) -> None:
    stands(hands, warm=False)


def engine_dies_of_air_and_is_turned_by_the_wheels(hands: AnyHands) -> None:
    stands(hands, levels=(0.7, 0.09))
    go_on(hands, 1)


def purge_in_a_board_that_restarts(hands: AnyHands) -> None:
    stands(hands, levels=(0.92, 0.7), breaks_after_ms=20_000)
    go_on(hands, 6)


def settings_mended_while_the_board_runs(hands: AnyHands) -> None:
    stands(hands)
    hands.heal()
    go_on(hands, 1)


def oil_read_late_in_a_cold_start(hands: AnyHands) -> None:
    stands(hands, warm=False)
    go_on(hands, 5)


def driven_until_the_oil_is_out_without_a_level_sensor(hands: AnyHands) -> None:
    stands(hands, setup="three sensors", ambient_c=-15.0, levels=(0.09, 0.7))
    go_on(hands, 16)
    assert [hazard.text for hazard in hands.loop.monitors.found] == ["air at the pump"], "nobody guards that"


def stalls_and_a_short_purge_with_little_diesel(hands: AnyHands) -> None:
    """Each restart lets the return valve rest on diesel for half a second and its travel, each purge by the least factor leaves
    an eighth of a volume: together just over 2 % of the 5.4 L in the tank."""
    stands(hands, setup="permit", ambient_c=-15.0, levels=(0.7, 0.09))
    for _ in range(2):
        hands.drive("town")
    hands.wait_for_state(PARKED)
    hands.drive("town")
    hands.wait(4900)
    for _ in range(2):
        hands.stall()
        hands.crank(0.3)
    hands.drive("motorway")
    hands.press_button(2400)
    hands.wait(60_900)
    hands.wait(1600)
    hands.wait_for_state(ON_OIL)


FOUND: tuple[tuple[Drive, str | None], ...] = (
    (cold_start_in_a_loop, None),
    (cold_start_in_deep_frost, None),
    (key_off_as_the_valve_opens, None),
    (key_off_and_on_again_at_once, None),
    (tank_filled_to_the_brim_with_a_purge_to_do, None),
    (contact_off_and_a_purge_without_end, "supply-contact-off"),
    (valve_stuck_on_oil_in_a_cold_car, "supply-valve-stuck-on-oil"),
    (engine_dies_of_air_and_is_turned_by_the_wheels, "air-leak-small"),
    (purge_in_a_board_that_restarts, "resets"),
    (settings_mended_while_the_board_runs, "settings-damaged"),
    (oil_read_late_in_a_cold_start, "oil-slow"),
    (driven_until_the_oil_is_out_without_a_level_sensor, None),
    (stalls_and_a_short_purge_with_little_diesel, None),
)

# Found and not yet mended.
OPEN = {
    stalls_and_a_short_purge_with_little_diesel: pytest.mark.xfail(
        reason="H3, 2.0 % where 2 may be", raises=AssertionError
    ),
}


@pytest.mark.parametrize(
    ("drive", "fault"), [pytest.param(*found, id=found[0].__name__, marks=OPEN.get(found[0], ())) for found in FOUND]
)
def test_holds_in_what_was_found_before(drive: Drive, fault: str | None) -> None:
    hands = type("Found", (AnyHands,), {"fault": fault})()
    drive(hands)
    hands.no_hazard_passes_untold()
