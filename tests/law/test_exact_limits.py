"""Each part of the law on its own, exactly on its limits and one unit beside them.

The stories of the other files pass these limits with room to spare; here one millisecond, one hundredth of a kelvin, one
pascal more or less decides.
"""

from __future__ import annotations

from math import floor, log

import pytest

from changeover import stop_advice
from changeover.followed import Follower
from changeover.inputs import BONNET, BUTTON, ENGINE, KEY, LIGHTING, READY, Inputs
from changeover.interlocks import Held, Interlocks
from changeover.law import Law
from changeover.memory import Record
from changeover.restriction import Restriction
from changeover.sensing import (
    AMBIENT,
    BARO,
    COOLANT,
    DIESEL_LEVEL,
    FROZEN,
    GOOD,
    GROUND_LIFTED,
    IRRATIONAL,
    JUMPED,
    OIL,
    OIL_LEVEL,
    OIL_TANK,
    OPEN,
    OUT_OF_RANGE,
    PUMP_INLET,
    SHORT,
    STALE,
    SUCTION,
    SUPPLY,
    SWAPPED,
    Channel,
)
from changeover.settings import LOOPED_RETURN, NORM_NAMES
from changeover.states import ON_DIESEL
from changeover.stop_advice import standing_min
from changeover.trust import Trust
from tests.law.rig import fitted_out


def good(law: Law, **values: int) -> None:
    """These channels are trusted and read so, in their own units."""
    for name, value in values.items():
        channel = law.inputs.channel[{"coolant": COOLANT, "oil": OIL, "supply": SUPPLY, "suction": SUCTION}[name]]
        channel.reason = GOOD
        channel.value = value


# the filter heater


def heating(oil: int = 5000, coolant: int = 4000, supply: int = 12800, **settings: int) -> Law:
    """A law in a car that just fulfils every condition of its filter heater."""
    law = Law(fitted_out(fit_heater=1, **settings), Record())
    good(law, oil=oil, coolant=coolant, supply=supply)
    law.machine.state = ON_DIESEL
    law.machine.engine_ms = 3000
    law.inputs.contact[ENGINE].on = True
    return law


def heats(law: Law) -> bool:
    law.heater.step()
    return law.heater.on


def test_heater_begins_exactly_on_its_limits() -> None:
    assert heats(heating())
    assert not heats(heating(coolant=3999))
    assert not heats(heating(supply=12799))
    early = heating()
    early.machine.engine_ms = 2999
    assert not heats(early)
    stalled = heating()
    stalled.inputs.contact[ENGINE].on = False
    assert not heats(stalled)


def test_heater_band_is_two_kelvin_below_its_setting() -> None:
    law = heating(oil=7800)
    assert not heats(law)
    for oil, on in ((7799, True), (7999, True), (8000, False), (7800, False), (7799, True)):
        good(law, oil=oil)
        assert heats(law) is on, oil


def test_heater_that_was_never_on_leaves_the_rules_of_trust_as_they_are() -> None:
    law = Law(fitted_out(fit_heater=1), Record())
    assert not law.heater.used
    law = heating()
    assert heats(law)
    assert law.heater.used


def test_heater_has_three_hundred_seconds_to_show_two_kelvin() -> None:
    def seconds(law: Law, count: int, oil: int = 5000, flowing: bool = False) -> bool:
        for _ in range(count):
            law.heater.second(flowing, oil)
        return law.heater.failed

    law = heating(coolant=6400)
    assert heats(law)
    assert not seconds(law, 299)
    assert seconds(law, 1)
    assert seconds(law, 1, oil=5199)
    assert not seconds(law, 1, oil=5200)
    assert not seconds(law, 299, oil=5200), "a proof that was given begins anew, from where it was given"
    assert seconds(law, 1, oil=5399)

    # oil that flows, coolant less than 10 K ahead, and a new trip, begin it anew too
    for interrupt in ("flow", "coolant", "trip"):
        law = heating(coolant=6000)
        assert heats(law)
        seconds(law, 200)
        if interrupt == "flow":
            seconds(law, 1, flowing=True)
        elif interrupt == "coolant":
            seconds(law, 1, oil=5001)
        else:
            law.heater.restart()
            assert heats(law)
        assert not seconds(law, 299)
        assert seconds(law, 1)


# have the valves followed


class Followed:
    """A follower with its two channels; `tick` lets one tenth of a second pass."""

    def __init__(self, inlet: int, oil: int, **settings: int) -> None:
        self.inlet = Channel(True, -9999, 99999, -1, 70000, 0)
        self.oil = Channel(True, -9999, 99999, -1, 70000, 0)
        self.inlet.value, self.oil.value = inlet, oil
        self.inlet.reason = self.oil.reason = GOOD
        self.part = Follower(fitted_out(**settings), self.inlet, self.oil)
        self.commanded = False

    def command(self, on: bool) -> Followed:
        self.commanded = on
        return self

    def ticks_until_unfollowed(self, most: int = 400, dt_ms: int = 100) -> int:
        for ticks in range(1, most + 1):
            self.part.step(self.commanded, dt_ms)
            if self.part.unfollowed:
                return ticks
        return 0


# 100 mL at four fifths of 15.625 mL/s take 8 s, begun seconds and 10 s more: 19 s
WINDOW_TICKS = 190


def test_valve_has_its_path_volume_at_the_lowest_flow_and_ten_seconds_more() -> None:
    assert Followed(4000, 8000).command(True).ticks_until_unfollowed() == WINDOW_TICKS
    longer = Followed(4000, 8000, path_ul=112_500).command(True)  # nine seconds of flow
    assert longer.ticks_until_unfollowed() == WINDOW_TICKS + 10
    begun = Followed(4000, 8000, path_ul=106_250).command(True)  # eight and a half
    assert begun.ticks_until_unfollowed() == WINDOW_TICKS
    slow = Followed(4000, 8000).command(True)
    assert slow.ticks_until_unfollowed(dt_ms=250) == WINDOW_TICKS * 100 // 250


def test_valve_is_judged_only_where_the_fuels_differ_by_fifteen_kelvin_or_hot_fuel_must_go() -> None:
    assert Followed(4000, 5500).command(True).ticks_until_unfollowed() == WINDOW_TICKS
    assert Followed(4000, 5499).command(True).ticks_until_unfollowed() == 0
    for inlet, told in ((5500, WINDOW_TICKS), (5499, 0)):
        back = Followed(inlet, inlet).command(True)
        assert back.ticks_until_unfollowed(5) == 0, "alike warm"
        assert back.command(False).ticks_until_unfollowed() == told
    loop = Followed(7000, 7000, layout=LOOPED_RETURN).command(True)
    assert loop.ticks_until_unfollowed(5) == 0
    assert loop.command(False).ticks_until_unfollowed() == 0


@pytest.mark.parametrize(("on", "sense"), [(True, 1), (False, -1)])
def test_five_kelvin_show_that_a_valve_has_moved(on: bool, sense: int) -> None:
    for change, told in ((499, True), (500, False)):
        valve = Followed(6000, 8000)
        if not on:
            valve.oil.value = 6000
            valve.command(True).ticks_until_unfollowed(1)
        valve.command(on).ticks_until_unfollowed(5)
        valve.inlet.value += sense * change
        assert (valve.ticks_until_unfollowed() > 0) is told
        valve.inlet.value = 6000
        assert (valve.ticks_until_unfollowed() > 0) is told, "what was shown once stands"


def test_verdict_and_window_begin_anew_with_each_command_and_each_trip() -> None:
    valve = Followed(4000, 8000).command(True)
    valve.ticks_until_unfollowed(150)
    valve.command(False).ticks_until_unfollowed(1)
    assert valve.command(True).ticks_until_unfollowed() == WINDOW_TICKS
    assert valve.command(False).ticks_until_unfollowed() == 0
    valve.command(True).ticks_until_unfollowed()
    valve.part.restart()
    assert not valve.part.unfollowed
    assert valve.ticks_until_unfollowed() == 0, "a new trip waits for a command of its own"
    fresh = Followed(0, 4000)
    assert fresh.ticks_until_unfollowed() == 0


def test_lost_sensor_stops_the_window_and_keeps_it() -> None:
    valve = Followed(4000, 8000).command(True)
    valve.ticks_until_unfollowed(100)
    valve.inlet.reason = STALE
    assert valve.ticks_until_unfollowed() == 0
    valve.inlet.reason = GOOD
    assert valve.ticks_until_unfollowed() == WINDOW_TICKS - 100
    for lost in ("inlet", "oil"):
        valve = Followed(4000, 8000)
        getattr(valve, lost).reason = STALE
        valve.command(True).ticks_until_unfollowed(5)
        getattr(valve, lost).reason = GOOD
        assert valve.ticks_until_unfollowed() == 0


# what each input believes

RANGES = {
    COOLANT: (-4000, 13000), OIL: (-4000, 13000), OIL_TANK: (-4000, 13000), PUMP_INLET: (-4000, 13000),
    AMBIENT: (-4000, 13000), SUCTION: (-3000, 101325), OIL_LEVEL: (-100, 1100), DIESEL_LEVEL: (-100, 1100),
    SUPPLY: (4000, 40000), BARO: (40000, 115000),
}  # fmt: skip
ENDS = dict.fromkeys(RANGES, (900, 65000)) | {SUPPLY: (-1, 65000)}
ENDS |= dict.fromkeys((COOLANT, OIL, OIL_TANK, PUMP_INLET, AMBIENT), (700, 65000))


def judged(channel: Channel, values: list[int], counts: int = 30_000) -> int:
    """The channel's reason once it has settled on the first value and seen three of each of the others."""
    for number, value in enumerate(values):
        channel.convert = lambda counts, value=value: value  # type: ignore[method-assign]
        for _ in range(3 if number else 5):
            channel.step(counts if number == len(values) - 1 else 30_000)
    return channel.reason


@pytest.mark.parametrize("index", RANGES)
def test_each_channel_believes_exactly_its_range(index: int) -> None:
    low, high = RANGES[index]

    def at(value: int) -> int:
        inputs = Inputs(fitted_out(suction_absolute=int(index == BARO)))
        inputs.channel[index]._jump = 0
        return judged(inputs.channel[index], [(low + high) // 2, value])

    assert [at(value) for value in (low - 1, low, high, high + 1)] == [OUT_OF_RANGE, GOOD, GOOD, OUT_OF_RANGE]


def test_absolute_suction_sensor_believes_what_it_can_show() -> None:
    for value, reason in ((-1, OUT_OF_RANGE), (0, GOOD), (130_000, GOOD), (130_001, OUT_OF_RANGE)):
        suction = Inputs(fitted_out(suction_absolute=1)).channel[SUCTION]
        assert judged(suction, [90_000, value]) == reason


@pytest.mark.parametrize("index", RANGES)
def test_each_channel_takes_counts_near_the_rails_for_a_broken_wire(index: int) -> None:
    shorted, opened = ENDS[index]
    low, high = RANGES[index]
    middle = (low + high) // 2

    def at(counts: int) -> int:
        inputs = Inputs(fitted_out(suction_absolute=int(index == BARO)))
        return judged(inputs.channel[index], [middle, middle], counts)

    assert [at(opened - 1), at(opened)] == [GOOD, OPEN]
    assert at(shorted + 1) == GOOD
    assert at(shorted) == (SHORT if shorted >= 0 else STALE)


@pytest.mark.parametrize("index", [COOLANT, OIL, OIL_TANK, AMBIENT])
def test_temperatures_may_move_five_kelvin_between_two_samples_and_the_pump_inlets_as_it_likes(index: int) -> None:
    for change, trusted in ((500, True), (501, False), (-500, True), (-501, False)):
        channel = Inputs(fitted_out()).channel[index]
        assert (judged(channel, [2000, 2000 + change]) == GOOD) is trusted
    assert judged(Inputs(fitted_out()).channel[PUMP_INLET], [2000, 12_000]) == GOOD


def test_contacts_take_as_many_samples_as_their_kind_bounces() -> None:
    samples = {KEY: (2, 3), ENGINE: (2, 4), READY: (3, 2), BUTTON: (2, 2)}
    for index in range(LIGHTING + 1):
        contact = Inputs(fitted_out()).contact[index]
        rise, fall = samples.get(index, (2, 2))
        for level, needed in ((True, rise), (False, fall)):
            for _ in range(needed - 1):
                contact.step(level)
                assert contact.on is not level
            contact.step(level)
            assert contact.on is level
    assert len(Inputs(fitted_out()).contact) == LIGHTING + 1
    assert BONNET < LIGHTING


# hold times of the interlock table


def test_hold_time_is_over_with_its_last_millisecond_each_way_and_each_time() -> None:
    held = Held([1000], [500], 0)
    for _ in range(2):  # the tick that first shows it only starts the wait
        assert [held.step(1, dt_ms) for dt_ms in (700, 999, 1)] == [0, 0, 1]
        assert [held.step(0, dt_ms) for dt_ms in (700, 499, 1)] == [1, 1, 0]
    held.step(1, 100)
    held.step(1, 999)
    held.restart()
    assert [held.step(1, dt_ms) for dt_ms in (700, 999, 1)] == [0, 0, 1]


def test_two_rows_that_wait_together_both_begin_anew_when_both_conditions_go() -> None:
    held = Held([1000, 1000, 1000], [0, 0, 0], 0)
    held.step(0b111, 100)
    held.step(0b111, 900)
    held.step(0, 100)
    assert [held.step(0b111, dt_ms) for dt_ms in (700, 999, 1)] == [0, 0, 0b111]


def test_nothing_blocks_or_forces_before_the_first_tick() -> None:
    interlocks = Interlocks()
    assert (interlocks.blocked, interlocks.forced) == (0, 0)
    conditions = Law(fitted_out(), Record()).conditions
    assert (conditions.block, conditions.force) == (0, 0)


# trust in sensors that look sound


class Trusted:
    """Coolant and oil as they read, and the rules that look at both; `seconds` lets time pass."""

    def __init__(self, coolant: int, oil: int) -> None:
        self.inputs = Inputs(fitted_out())
        self.coolant, self.oil = self.inputs.channel[COOLANT], self.inputs.channel[OIL]
        self.rules = Trust(self.inputs)
        self.coolant.reason = self.oil.reason = self.inputs.channel[SUCTION].reason = GOOD
        self.reads(coolant, oil)
        self.seconds(1)

    def reads(self, coolant: int, oil: int) -> Trusted:
        self.coolant.value, self.oil.value = coolant, oil
        return self

    def seconds(self, count: int, running: bool = True, heater_used: bool = False) -> tuple[int, int]:
        for _ in range(count):
            self.rules.second(running, heater_used)
        return self.coolant.reason, self.oil.reason

    def until_frozen(self, which: str, most: int = 2000, heater_used: bool = False) -> int:
        for count in range(1, most + 1):
            if FROZEN in self.seconds(1, heater_used=heater_used):
                assert getattr(self, which).reason == FROZEN
                return count
        return 0


@pytest.mark.parametrize("sense", [1, -1])
def test_soak_is_within_five_kelvin_and_a_lead_of_more_than_fifteen_is_a_swap(sense: int) -> None:
    # far below what was seen at the start, so that only a swap can be meant
    swapped = Trusted(5000, 5000 + sense * 500).reads(1000, 2501)
    assert swapped.seconds(1) == (SWAPPED, SWAPPED)
    assert Trusted(5000, 5000 + sense * 500).reads(1000, 2500).seconds(1) == (GOOD, GOOD)
    assert Trusted(5000, 5000 + sense * 501).reads(1000, 2501).seconds(1) == (GOOD, GOOD)
    assert Trusted(5000, 5000).reads(1000, 2501).seconds(1, heater_used=True) == (GOOD, GOOD)


def test_oil_more_than_fifteen_kelvin_above_all_that_was_seen_is_irrational() -> None:
    for coolant, oil, top in ((3000, 1000, 3000), (1000, 5000, 5000)):
        assert Trusted(coolant, oil).reads(coolant, top + 1500).seconds(1) == (GOOD, GOOD)
        assert Trusted(coolant, oil).reads(coolant, top + 1501).seconds(1) == (GOOD, IRRATIONAL)
        assert Trusted(coolant, oil).reads(coolant, top + 1501).seconds(1, heater_used=True) == (GOOD, GOOD)
    seen = Trusted(3000, 1000)
    seen.reads(4000, 1000).seconds(1)
    assert seen.reads(2000, 5500).seconds(1) == (GOOD, GOOD)
    assert seen.reads(2000, 5501).seconds(1) == (GOOD, IRRATIONAL)


def test_first_second_of_a_trip_only_looks() -> None:
    looks = Trusted(8000, 8000)
    assert (looks.coolant.reason, looks.oil.reason) == (GOOD, GOOD)
    looks.rules.restart()
    assert looks.reads(1000, 9900).seconds(1) == (GOOD, GOOD)
    assert looks.reads(1000, 11_401).seconds(1) == (GOOD, IRRATIONAL)


def test_cold_coolant_has_six_hundred_seconds_to_move_half_a_kelvin() -> None:
    assert Trusted(4999, 4999).until_frozen("coolant") == 600
    assert Trusted(5000, 5000).until_frozen("coolant") == 0
    assert Trusted(-3000, -3000).until_frozen("coolant") == 600
    for moved, again in ((50, 100), (51, 601), (-50, 100), (-51, 601)):  # the second that sees it move does not count
        still = Trusted(1000, 1000)
        still.seconds(500)
        assert still.reads(1000 + moved, 1000).until_frozen("coolant") == again
    idle = Trusted(1000, 1000)
    idle.seconds(900, running=False)
    assert idle.until_frozen("coolant") == 600
    idle.coolant.reason = GOOD
    idle.rules.restart()
    idle.seconds(1)
    assert idle.until_frozen("coolant") == 600


def test_oil_freezes_by_what_it_lags_beyond_twenty_five_kelvin() -> None:
    """A fifth of the gap beyond, in 0.01 K each second, to 5 K over 600 s: 300 000."""
    assert Trusted(13_000, -2105).until_frozen("oil") == 120  # 2521 a second: 299 999 after 119
    assert Trusted(13_000, -2109).until_frozen("oil") == 120
    assert Trusted(13_000, -2110).until_frozen("oil") == 119  # 2522 a second
    assert Trusted(9000, 6500).until_frozen("oil") == 0
    for moved, again in ((50, 20), (51, 121), (-50, 20)):
        lags = Trusted(13_000, -2105)
        lags.seconds(100)
        assert lags.reads(13_000 + moved, -2105 + moved).until_frozen("oil") == again
    lags = Trusted(13_000, -2105)
    lags.seconds(1000, running=False)
    assert lags.until_frozen("oil") == 120
    leads = Trusted(5000, 5000).reads(5000, 10_000)
    assert leads.until_frozen("oil", heater_used=True) == 601  # one second sees it move, then 500 each


@pytest.mark.parametrize("lost", ["coolant", "oil"])
def test_rules_that_look_at_both_say_nothing_while_one_is_lost(lost: str) -> None:
    both = Trusted(1000, 1000)
    getattr(both, lost).reason = STALE
    both.reads(1000, 9000).seconds(700)
    getattr(both, lost).reason = GOOD
    assert both.reads(1000, 1000).until_frozen("coolant") == 600


def test_two_of_three_lost_upward_at_once_are_the_ground() -> None:
    for first in (OPEN, JUMPED, SHORT, STALE):
        for second in (GOOD, OPEN, JUMPED, SHORT):
            lost = Trusted(5000, 5000)
            lost.coolant.reason, lost.inputs.channel[SUCTION].reason = first, second
            lost.rules.tick()
            lifted = first in (OPEN, JUMPED) and second in (OPEN, JUMPED)
            assert (lost.oil.reason == GROUND_LIFTED) is lifted
    for pair in ((COOLANT, OIL), (OIL, SUCTION)):
        lost = Trusted(5000, 5000)
        for index in pair:
            lost.inputs.channel[index].reason = OPEN
        lost.rules.tick()
        assert {lost.inputs.channel[index].reason for index in (COOLANT, OIL, SUCTION)} == {GROUND_LIFTED}


# how long the car may stand


def test_table_of_logarithms_is_rounded_down() -> None:
    assert list(stop_advice._LN) == [floor(10_000 * log(1 + row / 10)) for row in range(31)]


def test_advice_is_cut_to_whole_minutes_and_ends_at_the_last_row() -> None:
    # 600 s: ln 1.1 = 0.0953 gives 57 s; ln 1.2 gives 109 s
    assert [standing_min(oil, 0, 5000, 600) for oil in (5000, 5001, 5500, 6000)] == [0, 0, 0, 1]
    assert standing_min(5001, 5000, 5000, 30_000) == standing_min(5001, 4900, 5000, 30_000) == 4  # ln 1.01
    assert standing_min(5001, 4899, 5000, 30_000) == 4
    for oil in (20_000, 25_000):  # four times the distance and more
        assert standing_min(oil, 0, 5000, 30_000) == 30_000 * 13_862 // 600_000


# what the filter shows


def drawing(filter_: Restriction, seconds: int, suction_pa: int, oil_cdegc: int = 7000) -> Restriction:
    for _ in range(seconds):
        filter_.second(True, suction_pa, oil_cdegc)
    return filter_


def test_mean_of_a_trip_counts_from_its_sixtieth_reading_on() -> None:
    element = Restriction(fitted_out())
    assert not element.air
    assert not element.observable
    assert not element.spent
    element.mean_pa = 9000  # of the last trip
    drawing(element, 20 + 59, 16_000)
    assert element.mean_pa == 9000
    assert drawing(element, 1, 16_000).mean_pa == 16_000
    assert drawing(element, 60, 20_000).mean_pa == 18_000
    drawing(element, 1, 20_000 + 16 * 121 - 1)  # 16 Pa are its finest step: the sum lacks one of them for the next
    assert element.mean_pa == 18_000 + (2000 + 16 * 121 - 16) // 121 // 16 * 16
    element.second(False, 0, 7000)
    drawing(element, 20, 60_000)
    before = element.mean_pa
    assert drawing(element, 1, 60_000).mean_pa > before, "a stretch begins with twenty seconds that do not count"


def test_older_readings_of_a_day_long_trip_count_half() -> None:
    element = drawing(Restriction(fitted_out()), 20 + 16_384, 16_000)
    assert element.mean_pa == 16_000
    drawing(element, 8192, 32_000)
    assert element.mean_pa == 24_000 - 24_000 % 16, "8192 of 16 000 and as many of 32 000"


IDLE_IS_A_QUARTER = fitted_out(flow_measured_ul_s=8000, flow_max_ul_s=32_000)


def test_least_suction_of_a_trip_is_averaged_by_sixteenths() -> None:
    element = drawing(Restriction(IDLE_IS_A_QUARTER), 20, 17_600)
    element.keep_trip(False)
    assert element.low_pa == 0
    drawing(element, 21, 17_600)
    element.second(True, 16_000, 7000)
    element.second(True, 17_600, 7000)
    element.keep_trip(False)
    assert element.low_pa == 4375, "a quarter of 17 500: all of it may have flowed at the highest flow"


def test_least_suction_rises_slowly_and_falls_at_once() -> None:
    element = drawing(Restriction(IDLE_IS_A_QUARTER), 80, 16_000)
    element.keep_trip(False)
    element.keep_trip(False)
    assert (element.mean_pa, element.low_pa) == (16_000, 4000), "a trip without readings teaches nothing"
    drawing(element, 80, 16_000).keep_trip(False)
    assert element.low_pa == 4000 + 250 + 1
    drawing(element, 80, 4252).keep_trip(False)
    assert element.low_pa == 4252
    drawing(element, 80, 3200).keep_trip(False)
    assert element.low_pa == 3200
    drawing(element, 80, 1600).keep_trip(True)
    assert element.low_pa == 2400, "a quarter less after each alarm: one that is wrong ends by itself"


def test_new_element_makes_what_was_learnt_void() -> None:
    element = drawing(Restriction(IDLE_IS_A_QUARTER), 80, 16_000)
    element.keep_trip(False)
    drawing(element, 80, 8000)
    element.spent = True
    element.changed()
    assert not element.spent
    element.keep_trip(False)
    assert (element.mean_pa, element.low_pa) == (0, 0)
    drawing(element, 79, 9600).changed()
    drawing(element, 59, 9600)
    assert element.mean_pa == 0
    assert drawing(element, 1, 9600).mean_pa == 9600
    element.keep_trip(False)
    assert (element.mean_pa, element.low_pa) == (9600, 2400)


def test_filter_without_any_suction_is_known_by_the_least_there_is() -> None:
    element = drawing(Restriction(fitted_out()), 80, 0)
    element.keep_trip(False)
    assert (element.mean_pa, element.low_pa) == (0, 1)


def test_air_is_less_than_half_of_four_kilopascals_or_more() -> None:
    for low_pa, suction_pa, observable, air in (
        (4000, 1999, True, True), (4000, 2000, True, False), (3999, 0, False, False), (4001, 1999, True, True),
    ):  # fmt: skip
        element = Restriction(fitted_out())
        element.low_pa = low_pa
        drawing(element, 21, suction_pa)
        assert (element.observable, element.air) == (observable, air)
    element = drawing(Restriction(fitted_out()), 20, 1999)
    element.low_pa = 4000
    drawing(element, 1, 1999)
    assert element.air
    element.second(False, 1999, 7000)
    assert not element.air
    drawing(element, 21, 1999)
    assert element.air
    element.keep_trip(True)
    assert not element.air
    assert not drawing(element, 20, 1999).air, "a new trip waits for steady flow"


def test_correction_is_a_straight_line_between_its_rows_and_flat_beyond() -> None:
    # steeper and less even than any oil, so that a hundredth of a kelvin shows
    rows = [20, 1400, 1450, 3900, 4000, 6500, 6600, 7000, 8990, 9000]
    values = fitted_out(**dict(zip(NORM_NAMES, rows, strict=True)))
    factor = Restriction(values).factor_permille
    for row in range(9):
        at, rise = 2000 + 1000 * row, rows[row + 1] - rows[row]
        for part in (0, 1, 5, 500, 999, 1000):
            assert factor(at + part) == rows[row] + rise * part // 1000
    assert factor(1999) == factor(-4000) == rows[0]
    assert factor(11_001) == factor(13_000) == rows[-1]
