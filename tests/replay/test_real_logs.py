"""Logs of a real car, outside the project: no sensor is blamed for cranking, for coolant that stands, for what a logger loses."""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path

import pytest

from changeover import rows
from host_sim.replay_tables import RUNNING_RPM
from tests.replay.conftest import replayed
from tests.traces.conftest import logs as logs  # the fixture


def read(path: Path) -> list[dict[str, float]]:
    with path.open(newline="", encoding="utf-8") as file:
        return [{name: float(cell) for name, cell in row.items()} for row in csv.DictReader(file)]


once = cache(replayed)


@pytest.fixture
def results(logs: list[Path]) -> dict[Path, dict]:
    return {path: once(path) for path in logs}


def longest_stand_s(log: list[dict[str, float]]) -> float:
    """The longest time for which the coolant did not change while the engine ran."""
    longest, since = 0.0, log[0]
    for row in log:
        if row["coolant_c"] != since["coolant_c"] or row["engine_rpm"] < RUNNING_RPM:
            since = row
        longest = max(longest, row["t_s"] - since["t_s"])
    return longest


def test_no_sensor_is_blamed_and_nothing_trips(results: dict[Path, dict]) -> None:
    dips = stands = gaps = 0
    for path, result in results.items():
        log = read(path)
        assert result["rows"] == len(log), path.name
        assert result["sensor_faults"] == [], path.name
        assert "supply" not in result["missing"], path.name
        assert not [move for move in result["moves"] if move["forced"]], path.name
        low = [row for row in result["shadow"]["rows"] if row["row"] == rows.TABLE[rows.SUPPLY_LOW][rows.NAME]]
        assert [row["blocked_s"] for row in low] == [0], path.name
        dips += min(row["supply_v"] for row in log) < 11.5
        stands += longest_stand_s(log) > 300
        gaps += result["counters"]["gaps"]
    # what must not trip was there
    assert dips >= 5
    assert stands >= 1
    assert gaps >= 10


def test_oil_is_allowed_from_the_row_on_that_is_warm_enough(results: dict[Path, dict]) -> None:
    checked = 0
    for path, result in results.items():
        log = read(path)
        warm = next((row["t_s"] for row in log if row["coolant_c"] >= 70), None)
        assert warm is not None, path.name
        if warm > 10 and not result["counters"]["gaps"]:
            checked += 1
            # 2 s until the row clears; stamps are whole seconds
            assert result["first_allowed_ms"] / 1000 == pytest.approx(warm - log[0]["t_s"] + 2.5, abs=1.2), path.name
    assert checked >= 5
