"""What the bench feeds: counts that a board takes for what the sliders say, and faults that reach it."""

from __future__ import annotations

import pytest

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
from changeover.sensing import COOLANT, JUMP_CDEGC, OIL, SUCTION, SUPPLY
from changeover.settings import defaults
from host_sim.catalogue import CATALOGUE, Entry
from host_sim.link_client import Telemetry
from host_sim.profile import load_profile
from secondtank.bench.stand import NOT_HERE, WARM, Scales, Stand

FULL = load_profile("full_guard")


def row(supply: int, back: int = 0) -> Telemetry:
    out = dict.fromkeys(("heater", "run_on", "power", "red", "amber", "green", "buzzer"), 0) | {
        "supply": supply,
        "return": back,
    }
    return Telemetry(0, "ON_OIL", out, 0, 0, 0, 0, 0, 0, (0,) * 10, (False,) * 10, 0)


@pytest.mark.parametrize(
    "changes", [{}, {"coolant_trim_cdegc": 150, "suction_zero_counts": 3000, "suction_absolute": 1}]
)
def test_board_reads_what_the_sliders_say(changes: dict[str, int]) -> None:
    values = FULL | changes
    wanted = [8800, 7310, 6400, -1500, 2500, 333, 999, 13870, -2600, 97000]
    inputs = Inputs(values)
    for _ in range(6):
        inputs.step(Scales(values).counts(wanted), [False] * 10)
    read = [channel.value for channel in inputs.channel]
    read[SUCTION] = inputs.suction_pa
    for index, (found, asked) in enumerate(zip(read, wanted, strict=True)):
        if inputs.channel[index].reason != 1:  # fitted
            assert abs(found - asked) <= (60 if index in (SUCTION, 9) else 3), index


def test_temperature_creeps_less_than_the_law_s_jump() -> None:
    stand = Stand(FULL)
    stand.wanted[COOLANT] = 9000
    scales = Inputs(FULL)
    before = None
    for feed in range(60):
        counts, _ = stand.feed(0.25 * feed, 0.25, None)
        read = scales.channel[COOLANT].convert(counts[COOLANT])
        assert before is None or abs(read - before) < JUMP_CDEGC
        before = read
    assert before == pytest.approx(9000, abs=3)


STUCK_WHERE_IT_IS = {
    "key-line-on",
    "engine-line-on",
    "selector-line-on",
}  # the key is on here, the engine runs, READY is chosen


def played(stand: Stand, from_s: float) -> list[tuple[list[int], list[bool]]]:
    """Feeds of a truth that moves, of valves that go to oil and back, of switches that close and open."""
    feeds = []
    for feed in range(30):
        if feed == 8:
            stand.wanted[:] = [value // 2 for value in stand.wanted]
            stand.wanted[SUPPLY] = 13000
        for index in (BUTTON, BRAKE, NEUTRAL, BONNET):
            stand.levels[index] = feed < 8
        feeds.append(stand.feed(from_s + 0.25 * feed, 0.25, row(feed < 16, feed < 16)))
    return feeds


def warm_stand() -> Stand:
    stand = Stand(FULL)
    for index, value in WARM.items():
        stand.wanted[index] = value
    stand.park()
    stand.levels[KEY] = stand.levels[ENGINE] = stand.levels[READY] = True
    return stand


@pytest.mark.parametrize("entry", CATALOGUE, ids=lambda entry: entry.id)
def test_every_fault_reaches_an_input_or_says_why_it_cannot(entry: Entry) -> None:
    broken, whole = warm_stand(), warm_stand()
    if entry.kind in NOT_HERE:
        with pytest.raises(ValueError, match=f"secondtank faults --only {entry.id} plays it"):
            broken.break_(entry.id, 0.0, False)
        return
    broken.break_(entry.id, 10.0, True)
    same = played(broken, 10.0) == played(whole, 10.0)
    assert same == (entry.id in STUCK_WHERE_IT_IS)
    broken.heal(entry.id)
    for stand in (broken, whole):
        for feed in range(20):
            stand.feed(20.0 + 0.25 * feed, 0.25, row(0))
    assert broken.feed(30.0, 0.25, row(0)) == whole.feed(30.0, 0.25, row(0))


def test_valve_contact_follows_its_coil_only_through_key_and_selector() -> None:
    stand = Stand(defaults())
    stand.levels[KEY] = stand.levels[READY] = True
    seen = [stand.feed(0.25 * feed, 0.25, row(1, 1))[1] for feed in range(5)]
    assert [levels[SUPPLY_CONTACT] for levels in seen] == [False, True, True, True, True]
    stand.levels[READY] = False
    seen = [stand.feed(2.0 + 0.25 * feed, 0.25, row(1, 1))[1] for feed in range(5)]
    assert not seen[-1][SUPPLY_CONTACT]
    assert seen[-1][RETURN_CONTACT]


def test_fault_of_five_seconds_ends_by_itself_and_a_grant_begins_whole() -> None:
    stand = Stand(FULL)
    stand.break_("oil-open-for-5-s", 0.0, False)
    stand.break_("supply-sag-9-v", 0.0, False)
    counts, _ = stand.feed(1.0, 0.25, None)
    assert counts[OIL] > 65000
    assert Inputs(FULL).channel[SUPPLY].convert(counts[SUPPLY]) == pytest.approx(9000, abs=5)
    stand.feed(5.1, 0.25, None)
    assert list(stand.broken) == ["supply-sag-9-v"]
    stand.levels[KEY] = True
    stand.park()
    assert stand.broken == {}
    assert not stand.levels[KEY]
