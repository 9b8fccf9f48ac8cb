"""The cable is pulled at each operation in turn. What is left starts the old program or the new one, whole, with settings that are its
own; record and trip log are never touched. Judged by every byte, and by starting what is left under the Unix port."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from collections import Counter
from pathlib import Path

import pytest

from changeover.settings_file import decode
from host_sim.errors import InputError
from host_sim.profile import load_profile
from pins import gpio
from secondtank import flash_write
from secondtank.flash import INTACT, UNSURE
from secondtank.flash_board import BoardFiles
from secondtank.flash_plan import RESERVE_BLOCKS, Found, Plan
from secondtank.flash_set import FOLDERS, ProgramSet, start_file, started_folder
from tests.flash.conftest import Two
from tests.flash.rig import HERE, Attached, Cable, copied, flash_it, restore, started, tree

OLD_IN, NEW_IN = FOLDERS
SAVED, PENDING = "settings/saved", f"settings/for_{NEW_IN}"
BOOTS_BETWEEN = 60  # besides one after each kind of operation


def kind(operation: str) -> str:
    """What sort of operation, whatever file and bytes."""
    return re.sub(r"b?(['\"]).*\1|\d+", "_", operation, flags=re.DOTALL)[:60]


def judge(before: dict[str, bytes], after: dict[str, bytes], two: Two) -> str:
    """Which program is left to start, every byte of it there."""
    folder = started_folder(after["main.py"])
    for name, data in before.items():
        if name.startswith(("record.", "journal/")) or name == SAVED:
            assert after[name] == data, name
    program = {OLD_IN: two.old, NEW_IN: two.new}[str(folder)]
    assert {name: after.get(f"{folder}/{name}") for name in program.files} == program.files
    if folder == OLD_IN:
        assert after["main.py"] == before["main.py"]
        return "old"
    values, errors = decode(after[PENDING])
    assert not errors
    assert values == load_profile("full_guard")
    return "new"


def boot(micropython: Path, board: Path) -> tuple[str, str]:
    """What the board says of the files that it has loaded, and of its settings."""
    pico = started(micropython, board)
    try:
        pico.run(1)
        assert not {"supply_valve", "return_valve", "filter_heater", "run_on"} & set(pico.energised)
        sets = next(line for line in pico.ask("version") if line.startswith("sets "))
        settings = next(line for line in pico.ask("status") if line.startswith("settings "))
        assert "the lines hold diesel" in pico.ask("status")
        return sets.removeprefix("sets "), settings
    finally:
        pico.close()


def test_pulled_at_each_operation(
    micropython: Path, two: Two, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    before = tree(two.board)
    linked = {(two.board / name).stat().st_ino: data for name, data in before.items()}
    whole = Attached(Cable(micropython, copied(two.board, tmp_path / "whole")))
    assert flash_it(monkeypatch, whole, two.new, tmp_path / "out") == 0
    operations = whole.transport.operations
    assert judge(before, tree(tmp_path / "whole"), two) == "new"
    left: Counter[str] = Counter()
    booted: Counter[str] = Counter()
    kinds: set[str] = set()
    told: set[str] = set()
    board = copied(two.board, tmp_path / "board", linked=True)
    for number, operation in enumerate(operations):
        restore(board, two.board)
        cable = Cable(micropython, board, breaks_at=number, torn=True)
        attached = Attached(cable)
        with pytest.raises(InputError) as error:
            flash_it(monkeypatch, attached, two.new, tmp_path / "out")
        told.add(error.value.wanted.split("; ", 1)[1])
        assert cable.after == 0, "nothing more is asked of a board that is gone"
        assert attached.starts == 1
        program = judge(before, tree(board, linked), two)
        left[program] += 1
        if kind(operation) not in kinds or number % BOOTS_BETWEEN == 0:
            kinds.add(kind(operation))
            assert boot(micropython, copied(board, tmp_path / "started")) == (
                program,
                "settings valid, as at the start",
            )
            booted[program] += 1
    assert boot(micropython, tmp_path / "whole") == ("new", "settings valid, as at the start")
    after = tree(tmp_path / "whole")
    assert PENDING not in after
    assert decode(after[SAVED])[0] == load_profile("full_guard"), "taken over at the first start"
    assert after["settings/before"] == before[SAVED]
    assert tree(two.board) == before, "nothing was written into a file that was there"
    with capsys.disabled():
        print(
            f"\n{len(operations)} operations broken, {len(kinds)} kinds; left to start: {dict(left)}; started: {dict(booted)}"
        )
    assert left == {"old": len(operations)}, "the last operation is the one that swaps"
    assert operations[-1].endswith("'main.py')")
    assert told == {INTACT, UNSURE}
    assert len(operations) > 4 * len(two.new.files)


def test_power_lost_at_each_operation_on_flash(
    micropython: Path, two: Two, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """On littlefs, of the size that a Pico has, down to single programs and erases; and the room that the plan asks for is enough."""
    image, log, expected = tmp_path / "image", tmp_path / "log", tmp_path / "expected"
    free: list[int] = []

    def flash_image(program: ProgramSet) -> None:
        cable = Cable(micropython, image, log)
        attached = Attached(cable)
        attached.start = lambda: free.append(cable.eval("os.statvfs('.')[3]"))
        assert flash_it(monkeypatch, attached, program, tmp_path / "out") == 0

    flash_image(two.old)
    before = tmp_path / "before"
    shutil.copy(image, before)
    flash_image(two.new)
    for folder, name, program in ((OLD_IN, "old", two.old), (NEW_IN, "new", two.new)):
        for file, data in program.files.items():
            path = expected / folder / file
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
        (expected / name).write_bytes(start_file(folder, gpio("red")))
    done = subprocess.run(
        [micropython, "-X", "heapsize=64m", HERE / "cuts.py", before, log, expected], capture_output=True, text=True, check=False, timeout=120
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    report = json.loads(done.stdout)
    with capsys.disabled():
        print(
            f"\npower lost on littlefs: {report}; blocks free after the first program and the second: {free[0]}, {free[-1]}"
        )
    assert set(report["found"]) == {"old", "new"}
    assert report["operations"] > 4 * two.new.blocks
    assert report["compared"] > 100
    assert free[0] - free[-1] <= two.new.blocks
    assert free[-1] > RESERVE_BLOCKS


def test_a_program_started_before_it_is_whole_would_be_seen(
    micropython: Path, two: Two, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Guards the test above."""
    real = flash_write.write

    def too_soon(board: BoardFiles, plan: Plan, found: Found, start: bytes) -> None:
        board.put_at_once("main.py", start)
        real(board, plan, found, start)

    monkeypatch.setattr(flash_write, "write", too_soon)
    board = copied(two.board, tmp_path / "board")
    with pytest.raises(InputError):
        flash_it(monkeypatch, Attached(Cable(micropython, board, breaks_at=250)), two.new, tmp_path / "out")
    with pytest.raises(AssertionError):
        judge(tree(two.board), tree(board), two)
