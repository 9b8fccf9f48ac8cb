"""Two programs to put on a board, and a board that one of them has driven."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest

import store
from changeover.memory import Record
from host_sim.profile import load_profile
from secondtank.flash_set import FOLDERS, ProgramSet, build
from tests.flash.rig import Attached, Cable, flash_it, marked


@dataclass(frozen=True)
class Two:
    """`old` knows a setting that `new` does not; `board`: a folder that is the flash of a board with the old one, settings, record,
    trip log."""

    old: ProgramSet
    new: ProgramSet
    board: Path


@pytest.fixture(scope="session")
def two(micropython: Path, tmp_path_factory: pytest.TempPathFactory) -> Two:
    folder = tmp_path_factory.mktemp("two")
    old, new = build(marked(folder / "old", "old", old_row=True)), build(marked(folder / "new", "new"))
    board = folder / "board"
    board.mkdir()
    record = Record()
    record.oil_in_lines = False
    for _ in range(5):
        data = record.encode()
        assert store.write_slot(str(board), record.slot(), data)
    assert store.save_settings(str(board), {**load_profile("full_guard"), "old_flag": 1})
    (board / "journal").mkdir()
    for number in range(1, 4):
        (board / f"journal/{number:06d}").write_bytes(bytes([number]) * 4096)
    with pytest.MonkeyPatch.context() as patch:
        # The old program's settings are none of this tree's: it brings no settings of its own.
        patch.setattr("secondtank.flash_plan._settings", lambda found, wanted: None)
        assert flash_it(patch, Attached(Cable(micropython, board)), old, folder / "out") == 0
    # An attempt was broken off before.
    for name in list(new.files)[:20]:
        path = board / FOLDERS[1] / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(new.files[name][:100])
    (board / f"settings/for_{FOLDERS[1]}").write_bytes(b"half")
    return Two(old, new, board)
