"""`secondtank faults`: the smoke grid holds, a cell can be run again as a drive, a broken promise ends with 3, nothing done is lost."""

from __future__ import annotations

import csv
import json
import multiprocessing
import os
import signal
import sys
from collections.abc import Iterator
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

from changeover import VERSION
from changeover.settings import TANK_RETURN
from changeover.states import ON_OIL
from host_sim.catalogue import BY_ID, CATALOGUE
from host_sim.grid import Cell
from host_sim.virtual_board import TICK_MS
from host_sim.ways import AUTHORITIES, RIGS, Rig, way
from secondtank import fault_cells, workers
from secondtank import faults as verb
from tests.cli.conftest import Answer, Command
from tests.needs import require

ONE = ("--only", "oil-open", "--state", "ON_OIL", "--phase", "first", "--layout", "tank_return")
ONE_CELL = (*ONE, "--authority", "automatic")


def _written(out: Path) -> dict[str, Any]:
    assert not list(out.rglob("*.part"))
    return json.loads((out / "faults.json").read_text(encoding="utf-8"))


def test_the_smoke_grid_holds(secondtank: Command, tmp_path: Path) -> None:
    out = tmp_path / "grid"
    answer = secondtank("faults", "--smoke", "--drives", 1, "--out", out)
    assert answer.status == 0, answer.out + answer.err
    grid = _written(out)
    counts = grid["counts"]
    assert counts["run"] == counts["planned"] == len(fault_cells.Asked(smoke=True).planned())
    assert counts["not_run"] == counts["unreachable"] == 0
    assert grid["counterexamples"] == []
    assert grid["partial"] is None
    assert grid["version"] == VERSION
    assert len(set(grid["settings_hash"].values())) == len(RIGS)
    reaction, telling, hazard = grid["claims"]
    assert hazard["due"] == counts["run"]
    assert min(reaction["due"], telling["due"]) > 100, "the sample tells little"
    # No time is longer than the promised one, and every fault was made to keep its promises.
    never_due = set()
    for row in grid["worst_times"]:
        for promise in filter(None, (row["on_diesel"], row["told"])):
            if promise["worst_s"] is None:
                never_due.add(row["fault"])
            else:
                assert promise["worst_s"] <= promise["promised_s"], row
    assert never_due == set(), "a promise that was never due proves nothing"
    # What is printed: the verdict, each claim, what nothing finds out.
    assert answer.out.startswith(f"Fault grid, smoke sample: no counterexample in {counts['run']} cells\n")
    for claim in grid["claims"]:
        assert f"{claim['claim']}: held in {claim['due']} cells" in answer.out
    assert "Claim A (no fault): no hazard" in answer.out
    assert "no claim" in answer.out
    for row in grid["undetectable"]:
        assert f"{row['fault']}: {row['covered_by']}" in answer.out
    assert answer.out.rstrip().endswith(str(out / "faults.html"))
    (folder,) = grid["drives"].values()
    page = (out / "faults.html").read_text(encoding="utf-8")
    assert f'href="{folder}/report.html"' in page
    assert (out / folder / "report.html").exists()


def test_a_cell_runs_again_as_a_drive_with_the_same_reaction(secondtank: Command, tmp_path: Path) -> None:
    out = tmp_path / "one"
    answer = secondtank("faults", *ONE_CELL, "--jobs", 1, "--json", "--out", out)
    assert answer.status == 0, answer.err
    grid = json.loads(answer.out)
    assert grid == _written(out)
    (result,) = grid["results"]
    (folder,) = grid["drives"].values()
    assert {path.name for path in (out / folder).iterdir()} == {"log.csv", "report.html", "summary.json"}
    assert "oil-open in ON_OIL, first tick" in (out / folder / "report.html").read_text(encoding="utf-8")
    summary = json.loads((out / folder / "summary.json").read_text(encoding="utf-8"))
    assert summary["verdict"] == "no hazard"
    # The board's own log shows the fault at its onset and the reaction that the cell was judged by.
    rig = Rig(TANK_RETURN, AUTHORITIES.index("automatic"))
    onset_ms = way(rig).moment(ON_OIL, 0)
    rows = _log(out / folder / "log.csv")
    before = [row for row in rows if int(row["t_ms"]) <= onset_ms]
    after = [row for row in rows if int(row["t_ms"]) > onset_ms]
    assert before[-1]["out_supply"] == "1"
    assert int(before[-1]["raw_oil"]) < 60_000 < int(after[0]["raw_oil"])
    shut_ms = next(int(row["t_ms"]) for row in after if row["out_supply"] == "0")
    assert (shut_ms - onset_ms) / 1000.0 == pytest.approx(result["diesel_s"], abs=2 * TICK_MS / 1000.0)
    assert any(move["from"] == "ON_OIL" and move["to"] == "PURGING" for move in summary["transitions"])
    # The command beside the cell is the one that was given.
    (command,) = grid["drives"]
    assert command.split()[2:] == list(ONE_CELL)


def _log(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def test_processes_change_nothing_in_the_result(secondtank: Command, tmp_path: Path) -> None:
    for jobs in (1, 2):
        assert secondtank("faults", *ONE, "--jobs", jobs, "--out", tmp_path / str(jobs)).status == 0
    files = [sorted(path.relative_to(tmp_path / jobs) for path in (tmp_path / jobs).rglob("*.*")) for jobs in "12"]
    assert files[0] == files[1]
    for name in files[0]:
        if (tmp_path / "1" / name).is_file():
            assert (tmp_path / "1" / name).read_bytes() == (tmp_path / "2" / name).read_bytes(), name


def test_each_broken_promise_is_a_counterexample_of_its_claim(
    secondtank: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Promised what cannot be: an exit within a tick; telling within a tick; no hazard though the valve stands on oil.
    planted = {
        "oil-open": replace(BY_ID["oil-open"], diesel_s=0.1),
        "oil-short": replace(BY_ID["oil-short"], told_s=0.1),
        "supply-valve-stuck-on-oil": replace(BY_ID["supply-valve-stuck-on-oil"], may_pass=()),
    }
    where = ("--state", "ON_OIL", "--phase", "last", "--layout", "tank_return", "--authority", "automatic")
    for number, (fault, entry) in enumerate(planted.items()):
        monkeypatch.setitem(BY_ID, fault, entry)
        phase = ("--phase", "middle") if number < 2 else ()
        out = tmp_path / fault
        answer = secondtank("faults", "--only", fault, *where, *phase, "--jobs", 1, "--out", out)
        assert answer.status == 3
        grid = _written(out)
        assert [claim["broken"] for claim in grid["claims"]] == [int(number == claim) for claim in range(3)]
        assert answer.out.startswith("Fault grid: 1 counterexample in 1 cell\n")
        assert f"  ! {fault} in ON_OIL" in answer.out
        assert "did not hold in 1 of 1 cell" in answer.out
        (counterexample,) = grid["counterexamples"]
        page = (out / "faults.html").read_text(encoding="utf-8")
        for words in counterexample["broken"]:
            assert words in page
        (folder,) = grid["drives"].values()
        assert "Did not hold" in (out / folder / "report.html").read_text(encoding="utf-8")


def test_what_cannot_be_is_not_valid_and_says_the_rule(secondtank: Command, tmp_path: Path) -> None:
    answer = secondtank("faults", "--state", "RUN_ON", "--layout", "looped_return", "--out", tmp_path / "out")
    assert answer.status == 4
    assert "run-on is refused by the settings" in answer.err
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--only", "oil-opne"), ("--only", "oil-opne", "oil-open")),
        (("--only", "no such thing"), ("--only", "no such thing")),
        (("--state", "ON_FIRE"), ("--state", "ON_FIRE", "ON_OIL")),
        (("--phase", "late"), ("--phase", "late", "last")),
        (("--layout", "looped"), ("--layout", "looped_return")),
        (("--authority", "auto"), ("--authority", "automatic")),
        (("--jobs", 0), ("--jobs",)),
        (("--drives", -1), ("--drives",)),
        (("--jobs", 2, "--cluster", "tcp://127.0.0.1:1"), ("--jobs", "2", "--cluster")),
        (("--cluster", "nonsense://here"), ("--cluster", "nonsense", "tcp://host:8786")),
    ],
)
def test_bad_input_gets_one_message_status_2_and_writes_no_result(
    arguments: tuple[object, ...], told: tuple[str, ...], secondtank: Command, tmp_path: Path
) -> None:
    if "nonsense://here" in arguments:
        _distributed()
    answer = secondtank("faults", *arguments, "--out", tmp_path / "out")
    assert answer.status == 2, answer.err
    assert answer.out == ""
    assert "Traceback" not in answer.err
    for words in told:
        assert words in answer.err
    assert not list(tmp_path.rglob("faults.*"))


def _handfuls(monkeypatch: pytest.MonkeyPatch, at: int, do: Any) -> None:
    """Small handfuls of cells; when the one numbered `at` is asked for, `do` happens first."""
    monkeypatch.setattr(fault_cells, "CHUNK", 2)
    whole = fault_cells.chunks

    def spoilt(planned: list[Cell]) -> Iterator[list[Cell]]:
        for number, chunk in enumerate(whole(planned)):
            if number == at:
                do()
            yield chunk

    monkeypatch.setattr(verb, "chunks", spoilt)


MANY = (
    "--state",
    "ON_DIESEL",
    "--phase",
    "first",
    "--layout",
    "tank_return",
    "--authority",
    "automatic",
    "--drives",
    0,
)


def test_interrupted_it_lets_its_workers_end_and_keeps_what_it_has(
    secondtank: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def everybody() -> None:
        # as a terminal does: the whole group gets it
        for process in multiprocessing.active_children():
            assert process.pid is not None
            os.kill(process.pid, signal.SIGINT)
        os.kill(os.getpid(), signal.SIGINT)

    _handfuls(monkeypatch, 5, everybody)
    answer = secondtank("faults", *MANY, "--jobs", 2, "--out", tmp_path)
    assert answer.status == 130, answer.err
    assert "(partial: interrupted)" in answer.out.splitlines()[0]
    grid = _partial(tmp_path, answer)
    assert grid["partial"] == "interrupted"
    assert grid["counts"]["run"] in (10, 12), "what had begun came to its end"
    assert multiprocessing.active_children() == []


def _partial(out: Path, answer: Answer) -> dict[str, Any]:
    grid = _written(out)
    counts = grid["counts"]
    assert 0 < counts["run"] == len(grid["results"])
    assert counts["planned"] == len(CATALOGUE) == counts["run"] + counts["not_run"]
    assert f"not run {counts['not_run']}" in answer.out
    assert "Partial (" in (out / "faults.html").read_text(encoding="utf-8")
    return grid


def test_a_worker_that_dies_is_reported_and_takes_nothing_with_it(
    secondtank: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def kill_one() -> None:
        pid = multiprocessing.active_children()[0].pid
        assert pid is not None
        os.kill(pid, signal.SIGKILL)

    _handfuls(monkeypatch, 5, kill_one)
    answer = secondtank("faults", *MANY, "--jobs", 2, "--out", tmp_path)
    assert answer.status == 1
    assert answer.err.startswith("secondtank: a worker process died")
    assert "Traceback" not in answer.err
    assert "a worker process died" in _partial(tmp_path, answer)["partial"]


def test_a_cell_that_fails_is_named_and_the_others_are_kept(
    secondtank: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = fault_cells.run_cell

    def broken(cell: Cell) -> Any:
        if cell.fault == CATALOGUE[4].id:
            raise ZeroDivisionError("planted")
        return whole(cell)

    monkeypatch.setattr(fault_cells, "CHUNK", 2)
    monkeypatch.setattr(fault_cells, "run_cell", broken)
    answer = secondtank("faults", *MANY, "--jobs", 1, "--out", tmp_path)
    assert answer.status == 1
    assert f"in the cell {CATALOGUE[4].id} in ON_DIESEL" in answer.err
    assert "not of your input" in answer.err
    grid = _partial(tmp_path, answer)
    assert grid["partial"] == "ZeroDivisionError: planted"
    kept = [row["fault"] for row in grid["worst_times"]]
    assert kept[:4] == [entry.id for entry in CATALOGUE[:4]]
    assert CATALOGUE[4].id not in kept


def _distributed() -> Any:
    require(find_spec("distributed"), "distributed (the extra `cluster`)")
    import distributed

    return distributed


def test_a_cluster_gives_the_same_cells(secondtank: Command, tmp_path: Path) -> None:
    distributed = _distributed()
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, protocol="tcp://", host="127.0.0.1", dashboard_address=None
    ) as cluster:
        answer = secondtank("faults", *ONE, "--cluster", cluster.scheduler_address, "--out", tmp_path / "there")
    assert answer.status == 0, answer.err
    assert secondtank("faults", *ONE, "--jobs", 1, "--out", tmp_path / "here").status == 0
    assert _written(tmp_path / "there") == _written(tmp_path / "here")


def test_a_cluster_that_does_not_answer_is_bad_input(
    secondtank: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _distributed()
    monkeypatch.setattr(workers, "_CONNECT_S", 1)
    answer = secondtank("faults", *ONE, "--cluster", "tcp://127.0.0.1:9", "--out", tmp_path / "out")
    assert answer.status == 2
    assert "--cluster: found 'tcp://127.0.0.1:9'" in answer.err
    assert "a scheduler that answers" in answer.err


def test_without_the_extra_the_option_says_what_to_install(
    secondtank: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    answer = secondtank("faults", *ONE, "--cluster", "tcp://127.0.0.1:9", "--out", tmp_path / "out")
    assert answer.status == 2
    assert "secondtank[cluster]" in answer.err
