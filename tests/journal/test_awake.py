"""How long the trip log keeps the board's feed after key-off: until it is written, and not beyond reason where flash refuses it."""

from __future__ import annotations

import builtins
from pathlib import Path

import pytest

from changeover.inputs import ENGINE, KEY
from tests.board.test_service import Bench

TELL_S = 30  # so long the board speaks after key-off, whatever else
LONGEST_S = 600  # of the held feed: the law's own bound


def awake_s(bench: Bench) -> float:
    """A drive on diesel, key off, and for how long the feed is then held; at most twenty minutes are tried."""
    bench.board.wires[KEY] = bench.board.wires[ENGINE] = True
    bench.run(5)
    bench.board.wires[KEY] = bench.board.wires[ENGINE] = False
    bench.run(0.5)
    for tick in range(12_000):
        if not bench.app.law.power_hold:
            return tick / 10
        bench.run(0.1)
    raise AssertionError("the feed is held for ever")


def refuse(monkeypatch: pytest.MonkeyPatch) -> None:
    """From now on flash takes no block of the log."""
    opened = builtins.open

    def refusing(path: str, mode: str = "r"):
        if "journal" in path and mode == "wb":
            raise OSError(28)
        return opened(path, mode)

    monkeypatch.setattr(builtins, "open", refusing)


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Bench:
    monkeypatch.setattr("gc.collect", lambda: 0)  # the board's habit, and this process has far more to go through
    return Bench(tmp_path)


def test_a_written_log_lets_go_when_all_is_said(bench: Bench) -> None:
    assert awake_s(bench) == pytest.approx(TELL_S, abs=1)
    assert bench.app.journal.waiting == 0


def test_a_log_that_flash_refuses_is_tried_twice_and_given_up(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    refuse(monkeypatch)
    assert 50 < awake_s(bench) < 90, "a minute from one try to the next, the first of them at the start"
    assert bench.app.journal.refused == 2
    assert bench.app.journal.waiting > 0


def test_flash_that_takes_it_again_is_given_its_time_again(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as patched:
        refuse(patched)
        awake_s(bench)
    bench.run(70)
    assert bench.app.journal.waiting == 0, "the board was fed by its host meanwhile"
    refuse(monkeypatch)
    assert 50 < awake_s(bench) < 100


def test_whatever_wants_to_stay_awake_the_law_ends_it_after_ten_minutes(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bench.app.journal, "keeps_awake", lambda: True)
    assert awake_s(bench) == pytest.approx(LONGEST_S, abs=1)
