"""How often an interlock would have acted, and how near it came: against counts made here, without the law."""

from __future__ import annotations

import re

import pytest

from changeover import rows
from host_sim.replay_margins import UNITS, margins_of_table
from tests.replay.conftest import Write, replayed

HEAD = "t_s,engine_rpm,coolant_c,oil_c,suction_kpa"


def of(result: dict, row: str, kind: str) -> dict:
    return next(margin for margin in result["shadow"]["margins"] if (margin["row"], margin["kind"]) == (row, kind))


def acted(result: dict, name: str) -> dict:
    return next(row for row in result["shadow"]["rows"] if row["row"] == name)


def test_every_comparison_of_the_table_is_looked_at() -> None:
    wanted = set()
    for number, row in enumerate(rows.TABLE):
        for kind, text in (("blocks", row[rows.BLOCKS]), ("ends oil", row[rows.FORCES])):
            for name in UNITS:
                if re.search(rf"\b{name} [<>]", text):
                    wanted.add((number, kind, name))
    assert len(wanted) > 15
    assert {(margin.row, margin.kind, margin.name) for margin in margins_of_table()} == wanted


def test_nearest_and_distribution_are_those_of_the_log(table: Write) -> None:
    # 300 s warm on oil, suction 10 kPa but for one second of 25; oil at 80 degC but for 20 s of 76
    log = [(t, 900, 90, 76 if 200 <= t < 220 else 80, 25 if t == 150 else 10) for t in range(300)]
    result = replayed(table(HEAD, log), shadow=True)
    assert [move["to"] for move in result["moves"]] == ["ON_DIESEL", "FILLING", "ON_OIL"]
    suction = of(result, "filter restricted", "ends oil")
    assert (suction["limit"], suction["nearest"]) == (30_000, pytest.approx(5000, abs=5))
    bins = dict(suction["bins"])
    assert sum(seconds for at, seconds in bins.items() if at * suction["width"] > 20_000) == 1
    assert sum(bins.values()) == result["shadow"]["on_oil_s"] == pytest.approx(296, abs=2)
    oil = of(result, "oil cold", "ends oil")
    assert (oil["limit"], oil["nearest"]) == (6500, pytest.approx(1100, abs=2))
    assert sum(seconds for at, seconds in oil["bins"] if at * oil["width"] < 7700) == 20
    assert acted(result, "filter restricted")["ended_oil"] == 0


def test_a_row_that_would_have_ended_oil_is_counted_each_time(table: Write) -> None:
    # three times 20 s of suction over 30 kPa (10 s end oil), while the log is on oil throughout; once only 5 s
    high = {*range(100, 120), *range(160, 180), *range(220, 240), *range(280, 285)}
    log = [(t, 900, 90, 80, 31 if t in high else 10, 1) for t in range(300)]
    result = replayed(table(HEAD + ",supply_valve", log), shadow=True)
    assert acted(result, "filter restricted")["ended_oil"] == 3
    assert of(result, "filter restricted", "ends oil")["nearest"] == pytest.approx(-1000, abs=5)


def test_what_blocks_and_what_blocks_alone(table: Write) -> None:
    # oil 70 degC, from 100 s on 1 K a second up to 80; coolant 66 degC, from 200 s on up to 85: they pass 73 and 70 after 103 and 204 s,
    # and each row clears 2 s later
    log = [(t, 900, min(85, 66 + max(0, t - 200)), min(80, 70 + max(0, t - 100)), 10) for t in range(250)]
    result = replayed(table(HEAD, log), shadow=True)
    oil, coolant = acted(result, "oil cold"), acted(result, "coolant cold")
    assert (oil["blocked_s"], oil["alone_s"]) == (pytest.approx(105, abs=2), 0)
    assert (coolant["blocked_s"], coolant["alone_s"]) == (pytest.approx(206, abs=2), pytest.approx(101, abs=2))
    assert result["shadow"]["on_diesel_s"] == pytest.approx(206, abs=2)


def test_a_row_that_is_not_in_the_log_has_no_margin(table: Write) -> None:
    result = replayed(table("t_s,engine_rpm,coolant_c", [(t, 900, 80) for t in range(100)]), shadow=True)
    shadow = result["shadow"]
    assert {"oil cold", "fuel starved", "filter restricted"} <= set(shadow["not_in_log"])
    assert {margin["row"] for margin in shadow["margins"]} == {"coolant cold"}
    assert not {row["row"] for row in shadow["rows"]} & set(shadow["not_in_log"])
