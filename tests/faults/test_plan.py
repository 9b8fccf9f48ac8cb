"""The plan of the fault grid: as large as the tables make it, what cannot be counted apart, a sample that leaves nothing out."""

from __future__ import annotations

from itertools import pairwise, product

import pytest

from changeover.settings import ADVISE, TANK_RETURN
from changeover.states import FILLING, ON_OIL, RUN_ON, STATES
from host_sim.catalogue import BY_ID, CATALOGUE
from host_sim.errors import InputError
from host_sim.faults import KINDS
from host_sim.grid import cells, reachable
from host_sim.profile import load_profile
from host_sim.signals import ANALOG_NAMES, DIGITAL_NAMES
from host_sim.ways import AUTHORITIES, LAYOUTS, PHASES, RIGS, Rig, Way, unreachable
from secondtank.fault_cells import CHUNK, Asked, chunks
from secondtank.fault_totals import Totals
from secondtank.fault_words import UNDETECTABLE

# The parking brake's, gear lever's and bonnet's lines are broken by `*-switch-stuck` on the car's side; an ambient pressure
# sensor is fitted by no profile of the grid.
_NO_ROW_OF_THEIR_OWN = {"neutral", "bonnet", "ambient_pressure"}


def test_the_plan_is_all_that_the_tables_give() -> None:
    planned = cells()
    assert len(planned) == len(CATALOGUE) * len(STATES) * len(PHASES) * len(LAYOUTS) * len(AUTHORITIES)
    assert len(set(planned)) == len(planned)
    assert len(BY_ID) == len(CATALOGUE), "an id stands twice"
    places = {(state, phase, layout, authority) for state, phase in product(range(len(STATES)), range(len(PHASES)))
              for layout in LAYOUTS for authority in range(len(AUTHORITIES))}  # fmt: skip
    for entry in CATALOGUE:
        assert {(c.state, c.phase, c.rig.layout, c.rig.authority) for c in planned if c.fault == entry.id} == places


def test_the_catalogue_breaks_every_signal_and_speaks_every_word_of_the_injector() -> None:
    assert {entry.kind for entry in CATALOGUE} == set(KINDS)
    broken = {entry.channel for entry in CATALOGUE}
    assert set(ANALOG_NAMES + DIGITAL_NAMES) - broken == _NO_ROW_OF_THEIR_OWN


def test_what_cannot_be_follows_from_a_rule_and_is_counted_apart() -> None:
    totals = Totals(Asked(), [])
    counts = totals.counts()
    # Of the states, `advise` lacks the three with oil or a held engine; a looped return lacks filling and run-on.
    without = {ADVISE: {FILLING, ON_OIL, RUN_ON}}
    pairs = {
        (rig, state)
        for rig in RIGS for state in range(len(STATES))
        if state in without.get(rig.authority, set()) or (rig.layout != TANK_RETURN and state in (FILLING, RUN_ON))
    }  # fmt: skip
    assert {(rig, state) for rig in RIGS for state in range(len(STATES)) if unreachable(rig, state)} == pairs
    assert counts["unreachable"] == len(pairs) * len(CATALOGUE) * len(PHASES)
    assert counts["planned"] == len(cells())
    assert counts["not_run"] == counts["planned"] - counts["unreachable"]
    assert sum(len(chunk) for chunk in chunks(totals.planned)) == counts["not_run"]


@pytest.mark.parametrize("authority", range(len(AUTHORITIES)), ids=AUTHORITIES)
def test_the_undisturbed_run_enters_what_can_be_and_nothing_else(authority: int) -> None:
    rig = Rig(TANK_RETURN, authority)
    assert set(Way(rig).states) == {state for state in range(len(STATES)) if unreachable(rig, state) is None}


def test_a_looped_return_is_refused_run_on_by_the_settings() -> None:
    with pytest.raises(InputError, match="run_on_s"):
        load_profile("looped", ["run_on_s=120"])


def test_the_sample_leaves_no_fault_and_no_place_out() -> None:
    sample = Asked(smoke=True).planned()
    assert len(sample) < len(cells()) / 30
    assert all(map(reachable, sample))
    assert {cell.fault for cell in sample} == set(BY_ID)
    places = {(cell.state, cell.phase, cell.rig) for cell in cells() if reachable(cell)}
    assert {(cell.state, cell.phase, cell.rig) for cell in sample} == places


def test_a_worker_gets_cells_of_one_rig_at_a_time() -> None:
    handfuls = list(chunks(cells()))
    assert all(len({cell.rig for cell in handful}) == 1 and len(handful) <= CHUNK for handful in handfuls)
    turns = [handful[0].rig for handful in handfuls]
    assert sum(a != b for a, b in pairwise(turns)) == len(RIGS) - 1, "a rig comes back"


def test_what_nothing_finds_out_is_covered_by_something() -> None:
    assert UNDETECTABLE
    assert [entry.id for entry in UNDETECTABLE if not entry.covered_by] == []
