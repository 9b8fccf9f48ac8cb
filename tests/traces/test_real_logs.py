"""The reader on logs of a real car; they stay outside the project, in the folder that SECONDTANK_TRACES names."""

from __future__ import annotations

import csv
from itertools import pairwise
from pathlib import Path

import pytest

from host_sim.traces import GAP_S, ambient_for, read_trace


def raw_stamps(path: Path) -> list[float]:
    with path.open(newline="", encoding="utf-8-sig") as lines:
        return [float(line["t_s"]) for line in csv.DictReader(lines)]


def test_every_line_is_read_and_stays_within_its_second(logs):
    for path in logs:
        trace, stamps = read_trace(path), raw_stamps(path)
        assert trace.lines == len(stamps) == len(trace.t_s)
        if trace.repaired == 0:
            assert all(stamp <= t < stamp + 1 for stamp, t in zip(stamps, trace.t_s, strict=True)), path.name
        assert all(a < b for a, b in pairwise(trace.t_s)), path.name


def test_gaps_and_steps_back_are_those_of_the_stamps(logs):
    with_gaps = 0
    for path in logs:
        trace, stamps = read_trace(path), raw_stamps(path)
        steps = [b - a for a, b in pairwise(stamps)]
        assert trace.repaired == sum(step < 0 for step in steps), path.name
        if trace.repaired == 0:
            assert len(trace.gaps) == sum(step > GAP_S for step in steps), path.name
        with_gaps += bool(trace.gaps)
    assert with_gaps > 0, "no log with a gap among them: nothing was tried"


def test_repeats_were_there_to_be_spread(logs):
    for path in logs:
        stamps = raw_stamps(path)
        assert len(set(stamps)) < len(stamps), path.name


def test_quantities_are_those_of_a_car(logs):
    for path in logs:
        trace = read_trace(path)
        assert trace.missing == ()
        assert 0.0 <= min(trace.column("load")) < max(trace.column("load")) <= 1.0
        assert max(trace.column("rpm")) > 600.0
        assert 9.0 < min(trace.column("supply_v")) < max(trace.column("supply_v")) < 16.0


def test_ambient_is_taken_from_cold_starts_only(logs):
    known = 0
    for path in logs:
        trace = read_trace(path)
        value, how = ambient_for(trace, None)
        cold = abs(trace.column("coolant_c")[0] - trace.column("intake_air_c")[0]) <= 5.0
        assert ("assumed" not in how) == cold, path.name
        if cold:
            assert value == pytest.approx(trace.column("intake_air_c")[0])
        known += cold
    assert 0 < known < len(logs)
