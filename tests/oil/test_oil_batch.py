"""A batch's water, limits and label, the record that keeps it, and the mixture in the tank."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.errors import InputError
from host_sim.oil_batch import CANNOT_TELL, MET, NOT_MET, Batch, Tank, water_by_weighing
from host_sim.oil_curve import from_family, from_readings, lab_point
from secondtank.oil_record import BatchRow, TankRow, append, read_record

OIL = from_readings([lab_point(40, 36.2), lab_point(100, 8.1)])
GOOD = Batch("good", 20.0, 14.0, (200.0, 50.0, 10.0), water_by_weighing(500, 499.9, 0.1), 0.0, OIL)


def changed(**fields: Any) -> Batch:
    return replace(GOOD, **fields)


@given(st.floats(50.0, 600.0), st.floats(0.0, 0.05), st.sampled_from([0.01, 0.1, 1.0, 2.0]))
def test_what_the_scale_shows_holds_the_true_water(oil_g: float, water: float, division_g: float) -> None:
    """A scale that rounds to its division, both times."""
    before = round(oil_g / division_g) * division_g
    after = round(oil_g * (1.0 - water) / division_g) * division_g
    if not 50.0 <= before <= 600.0:
        return
    found = water_by_weighing(before, after, division_g)
    assert found.lowest <= 100.0 * water * 1.005 + 1e-9
    assert 100.0 * water * 0.995 - 1e-9 <= found.highest
    assert found.lowest <= found.found <= found.highest


def test_what_a_kitchen_scale_can_and_cannot_see() -> None:
    """The target of DIN V 51605 is 0.075 %: 1 g in 500 g tells 0.4 %, 0.1 g tells 0.04 %."""
    assert water_by_weighing(500, 500, 1.0).resolved == pytest.approx(0.4)
    assert water_by_weighing(500, 500, 0.1).resolved == pytest.approx(0.04)
    assert water_by_weighing(200, 198, 0.1).found == pytest.approx(1.0)
    for arguments, why in (
        ((49, 49, 0.1), "small quantity"), ((601, 600, 0.1), "small quantity"), ((500, 501, 0.1), "not heavier"),
        ((500, 0, 0.1), "more than 0"), ((500, 499, 0), "at most 10 g"), ((float("nan"), 499, 0.1), "small quantity"),
    ):  # fmt: skip
        with pytest.raises(InputError, match=why):
            water_by_weighing(*arguments)


@pytest.mark.parametrize(
    ("change", "verdict"),
    [
        ({}, MET),
        ({"filter_um": (50.0, 10.1)}, NOT_MET),
        ({"filter_um": ()}, CANNOT_TELL),
        ({"settling_days": 6.9}, NOT_MET),
        ({"settling_days": 7.0}, MET),
        ({"settling_days": None}, CANNOT_TELL),
        ({"water": None}, CANNOT_TELL),
        ({"water": water_by_weighing(500, 500, 1.0)}, CANNOT_TELL),  # the scale is too coarse for the limit
        ({"water": water_by_weighing(500, 498, 0.1)}, NOT_MET),
        ({"sediment_ml_l": 0.2}, NOT_MET),
        ({"sediment_ml_l": 0.2, "water": None}, NOT_MET),  # what is known to be bad outweighs what is not known
        ({"curve": from_family("frying", used=True)}, MET),  # a target decides nothing
    ],
)
def test_acceptance_by_the_limits_that_decide(change: dict[str, object], verdict: str) -> None:
    assert changed(**change).accepted() == verdict


def test_used_oil_misses_the_rapeseed_standard_s_target_and_may_be_accepted() -> None:
    batch = changed(curve=from_readings([lab_point(40, 45.0)]))
    (viscosity,) = [judged for judged in batch.judged() if judged.limit.key == "nu40"]
    assert viscosity.limit.target
    assert viscosity.verdict == NOT_MET
    assert batch.accepted() == MET


@given(
    st.lists(st.tuples(st.sampled_from(["a", "b", "diesel"]), st.floats(0.5, 30.0), st.floats(0.1, 1.0)), min_size=1)
)
def test_the_tank_s_shares_add_up_and_the_mixture_lies_between(acts: list[tuple[str, float, float]]) -> None:
    thick = changed(name="b", curve=from_readings([lab_point(40, 52.0)]))
    tank, poured = Tank(), 0.0
    for name, litres, kept in acts:
        tank.fill(name, litres)
        poured += litres
        tank.leave(tank.content_l * kept)
    assert sum(tank.shares().values()) == pytest.approx(1.0)
    assert 0.0 < tank.content_l <= poured
    mixed = tank.curve([changed(name="a"), thick])
    for t_c in (20.0, 60.0):
        assert 0.0 < mixed.thick(t_c) <= thick.curve.thick(t_c) * (1 + 1e-9)


def test_batches_mix_by_their_mass() -> None:
    """Half and half of two oils: the logarithms' mean, half-way; emptied to 10 L and filled up, 10 of 40 are left."""
    tank = Tank()
    tank.fill("a", 20.0)
    tank.fill("b", 20.0)
    mixed = tank.curve([changed(name="a"), changed(name="b", curve=from_readings([lab_point(40, 52.0)]))])
    assert mixed.nu(40.0) == pytest.approx((36.2 * 52.0) ** 0.5, rel=0.003)
    tank.leave(10.0)
    tank.fill("a", 30.0)
    assert tank.shares() == pytest.approx({"a": 35 / 40, "b": 5 / 40})
    for bad in (-1.0, 40.1, float("nan")):
        with pytest.raises(InputError, match="what was in the tank"):
            tank.leave(bad)
    tank.leave(0.0)
    with pytest.raises(InputError, match="something in it"):
        tank.shares()


def row(name: str, **more: object) -> BatchRow:
    return BatchRow.model_validate(
        {"name": name, "on": "2026-11-02", "origin": "canteen", "litres": 20.0} | more, strict=False
    )


def filled(name: str, litres: float) -> TankRow:
    return TankRow.model_validate({"on": "2026-11-03", "did": "fill", "litres": litres, "name": name}, strict=False)


def test_the_record_grows_and_keeps_what_people_wrote_into_it(tmp_path: Path) -> None:
    path = tmp_path / "oil_record.toml"
    append(
        path,
        "batch",
        row("one", filter_um=[50.0, 10.0], weighing={"before_g": 500.0, "after_g": 499.0, "division_g": 0.1}),
    )
    path.write_text("# my oil\n" + path.read_text(encoding="utf-8").replace("canteen", "canteen # 3"), encoding="utf-8")
    append(path, "tank", filled("one", 15.0))
    append(path, "batch", row("two", points=["40=41"]))
    record = append(path, "tank", filled("two", 5.0))
    assert path.read_text(encoding="utf-8").startswith("# my oil\n")
    assert record == read_record(path)
    assert [batch.name for batch in record.batch] == ["one", "two"]
    assert record.batch[0].origin == "canteen # 3"
    water = record.batch[0].batch().water
    assert water is not None
    assert water.found == pytest.approx(0.2)
    assert record.batch[1].batch().curve.nu(40) == pytest.approx(41.0, rel=1e-3)
    assert record.contents().shares() == pytest.approx({"one": 0.75, "two": 0.25})


def test_an_entry_that_cannot_be_leaves_the_record_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "oil_record.toml"
    append(path, "batch", row("one"))
    append(path, "tank", filled("one", 15.0))
    before = path.read_bytes()
    for entry, why in (
        (filled("one", 6.0), r"tank\[2\]: litres poured of one.*20 L"),
        (filled("two", 1.0), "recorded: one"),
    ):
        with pytest.raises(InputError, match=why):
            append(path, "tank", entry)
    assert path.read_bytes() == before
    path.write_text(path.read_text(encoding="utf-8").replace("litres = 20.0", "litres = -20.0"), encoding="utf-8")
    with pytest.raises(InputError, match=r"oil_record\.toml: batch\[1\]\.litres"):
        read_record(path)
