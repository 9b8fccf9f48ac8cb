"""Numbered work on several processes: in order, stoppable, and a process that dies takes nothing with it."""

from __future__ import annotations

from pathlib import Path

import pytest

from secondtank.campaign_workers import in_order
from tests.campaign.chores import dying, fails, square


def never() -> bool:
    return False


@pytest.mark.parametrize("jobs", [1, 3])
def test_results_come_in_order_from_the_first_to_the_last(jobs: int) -> None:
    assert list(in_order(square, 4, 12, jobs, never)) == [(n, n * n) for n in range(4, 12)]


def test_a_process_that_dies_once_loses_nothing(tmp_path: Path) -> None:
    assert list(in_order(dying(tmp_path, 3, times=1), 0, 9, 2, never)) == [(n, n * n) for n in range(9)]
    assert (tmp_path / "0").exists()


def test_one_that_dies_twice_is_named_and_takes_no_other_with_it(tmp_path: Path) -> None:
    found = list(in_order(dying(tmp_path, 3, times=2), 0, 9, 2, never))
    assert found == [(n, None if n == 3 else n * n) for n in range(9)]


def test_what_has_begun_still_comes_after_a_stop_and_without_a_gap() -> None:
    found = []
    for number, result in in_order(square, 0, 1000, 2, lambda: len(found) >= 5):
        found.append((number, result))
    assert found == [(n, n * n) for n in range(len(found))]
    assert 5 <= len(found) <= 5 + 2 * 2


def test_an_error_of_the_work_is_raised_here_after_what_came_before_it() -> None:
    found = []
    with pytest.raises(ZeroDivisionError, match="planted"):
        found.extend(in_order(fails, 0, 9, 1, never))
