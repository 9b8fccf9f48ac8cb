"""A campaign's sums and intervals, against SciPy's statistics."""

from __future__ import annotations

import pickle
import random
from typing import Any

import pytest
from scipy import stats

from host_sim.campaign_totals import KEPT, Mean, Pairs, Share, Totals, at_most, discordant, wilson
from host_sim.hazards import NAMES


@pytest.mark.parametrize(("found", "of"), [(0, 1), (1, 1), (0, 40), (1, 40), (7, 40), (39, 40), (3, 100_000)])
def test_wilsons_interval_is_scipys(found: int, of: int) -> None:
    theirs = stats.binomtest(found, of).proportion_ci(method="wilson")
    assert wilson(found, of) == pytest.approx((theirs.low, theirs.high), abs=1e-12)


@pytest.mark.parametrize("of", [1, 2, 10, 30, 100, 10_000])
def test_none_in_n_is_bounded_by_three_in_n_and_never_below_the_exact_bound(of: int) -> None:
    exact = float(stats.beta.ppf(0.95, 1, of))  # Clopper and Pearson, one-sided
    assert exact == pytest.approx(1.0 - 0.05 ** (1.0 / of))
    assert exact <= at_most(of) <= 1.0
    if of >= 30:
        assert at_most(of) == pytest.approx(exact, rel=0.06)


@pytest.mark.parametrize(("only_a", "only_b"), [(0, 0), (1, 0), (3, 3), (0, 6), (2, 11), (40, 20)])
def test_discordant_pairs_are_judged_by_the_two_sided_binomial_test(only_a: int, only_b: int) -> None:
    theirs = stats.binomtest(only_a, only_a + only_b).pvalue if only_a + only_b else 1.0
    assert discordant(only_a, only_b) == pytest.approx(theirs)


def test_a_mean_has_the_normal_interval() -> None:
    rng = random.Random(1)
    numbers = [rng.gauss(40.0, 12.0) for _ in range(300)]
    mean = Mean()
    for number in numbers:
        mean.add(number)
    low, high = stats.norm.interval(0.95, loc=stats.tmean(numbers), scale=stats.sem(numbers))
    assert mean.summary()["interval"] == pytest.approx([low, high], abs=1e-4)
    assert mean.summary()["mean"] == pytest.approx(float(stats.tmean(numbers)), abs=1e-4)
    few = Mean()
    assert few.summary() == {"mean": None, "interval": None}
    few.add(3.0)
    assert few.summary() == {"mean": 3.0, "interval": None}


def test_a_share_of_sums_has_the_interval_that_resampling_gives() -> None:
    rng = random.Random(2)
    wholes = [rng.uniform(100.0, 2000.0) for _ in range(400)]
    parts = [whole * rng.betavariate(9, 1) for whole in wholes]
    share = Share()
    for part, whole in zip(parts, wholes, strict=True):
        share.add(part, whole)
    found = share.summary()
    assert found["share"] == pytest.approx(sum(parts) / sum(wholes), abs=1e-4)
    resampled = stats.bootstrap(
        (parts, wholes), lambda x, y: x.sum() / y.sum(), paired=True, vectorized=False, n_resamples=2000,
        method="percentile", rng=1,
    ).confidence_interval  # fmt: skip
    low, high = found["interval"]
    assert high - low == pytest.approx(resampled.high - resampled.low, rel=0.1)
    assert (low + high) / 2 == pytest.approx((resampled.low + resampled.high) / 2, abs=0.002)
    assert Share().summary() == {"share": None, "interval": None}


def run(*hazards: tuple[str, bool, bool], **changes: Any) -> dict[str, Any]:
    """The record of one run. Each hazard: its id, told, let pass by the fault's row."""
    margins = dict.fromkeys(NAMES, 0.0)
    for name, _, _ in hazards:
        margins[name] = 1.5
    return {
        "verdict": "hazard" if hazards else "no hazard",
        "hazards": [{"id": name, "told": told, "may_pass": may_pass} for name, told, may_pass in hazards],
        "margins": margins, "time_on_oil_s": 900.0, "time_on_oil_ideal_s": 1000.0, "engine_s": 1800.0, "distance_km": 30.0,
        "false_forced_exits": 0, "litres": {"diesel_burnt": 1.0, "oil_burnt": 1.0, "diesel_into_oil_tank": 0.5},
    } | changes  # fmt: skip


def test_told_untold_and_let_pass_are_counted_apart_a_trip_once_for_each() -> None:
    totals = Totals()
    for number, record in enumerate(
        [
            run(("H1", False, False), ("H1", False, False), ("H2", True, False)),
            run(("H2", True, False), ("H4", False, True)),
            run(),
            run(verdict="not valid", time_on_oil_s=0.0),
        ]
    ):
        totals.add(number, record)
    summary = totals.summary()
    counts = {name: (row["untold"], row["told"], row["may_pass"]) for name, row in summary["hazards"].items()}
    assert counts == dict.fromkeys(NAMES, (0, 0, 0)) | {"H1": (1, 0, 0), "H2": (0, 2, 0), "H4": (0, 0, 1)}
    assert (summary["trips"], summary["not_valid"], totals.counterexamples) == (3, 1, 1)
    assert summary["hazards"]["H1"]["interval_95"] == pytest.approx(wilson(1, 3), abs=1e-6)
    assert summary["hazards"]["H2"]["at_most_95"] == 1.0
    assert summary["use"]["share"] == 0.9
    assert summary["sums"]["diesel_burnt"] == 3.0


def test_false_forced_exits_are_counted_for_100_trips() -> None:
    totals = Totals()
    for number in range(200):
        totals.add(number, run(false_forced_exits=3 if number == 7 else 0))
    exits = totals.summary()["false_forced_exits"]
    assert (exits["count"], exits["per_100_trips"], exits["trips_with_one"]) == (3, 1.5, 1)
    assert exits["interval_95"] == pytest.approx(wilson(1, 200), abs=1e-6)


def test_the_worst_are_kept_an_untold_one_before_any_told_one() -> None:
    totals = Totals()
    for number in range(50):
        shares = dict.fromkeys(NAMES, 0.0) | {"H5": 0.5 + 0.001 * number}
        totals.add(number, run(margins=shares, time_on_oil_s=900.0 - number))
    totals.add(50, run(("H5", True, False), margins=shares | {"H5": 9.0}))
    totals.add(51, run(("H5", False, False), margins=shares | {"H5": 1.1}))
    totals.add(52, run(time_on_oil_s=0.0, time_on_oil_ideal_s=20.0))  # too short to be anybody's worst
    assert [number for _, number in totals.worst["H5"].kept] == [51, 50, 49][:KEPT]
    assert totals.worst["H1"].kept == []
    assert [number for _, number in totals.worst_use.kept] == [49, 48, 47][:KEPT]


def test_memory_does_not_grow_with_the_number_of_trips() -> None:
    def size(trips: int) -> int:
        totals, pairs, rng = Totals(), Pairs(), random.Random(3)
        for number in range(trips):
            margins = {name: rng.random() for name in NAMES}
            record = run(margins=margins, time_on_oil_s=rng.uniform(0.0, 1000.0))
            totals.add(number, record)
            pairs.add(record, run())
        return len(pickle.dumps((totals, pairs)))

    assert size(3000) <= size(30) + 200  # longer numbers, not more of them


def test_pairs_count_what_only_one_of_the_two_shows_and_the_mean_difference() -> None:
    pairs = Pairs()
    hazard = ("H1", False, False)
    for a, b in [(run(hazard), run(hazard)), (run(hazard), run()), (run(), run(hazard)), (run(hazard), run())]:
        pairs.add(a, b | {"time_on_oil_s": 930.0})
    pairs.add(run(verdict="not valid"), run(hazard))
    found = pairs.summary()
    assert found["pairs"] == 4
    assert found["hazards"]["H1"] == {"both": 1, "only_a": 2, "only_b": 1, "p": 1.0}
    assert found["time_on_oil_s_more_in_b"] == {"mean": 30.0, "interval": [30.0, 30.0]}
    assert found["diesel_l_more_in_b"]["mean"] == 0.0
