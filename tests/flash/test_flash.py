"""What the verb does with a board, told by what is on it afterwards; and what it refuses, in words."""

from __future__ import annotations

import struct
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

import store
from changeover.memory import Record, choose
from changeover.settings import ROWS
from changeover.settings_file import decode, encode
from host_sim.errors import InputError
from host_sim.firmware_files import FIRMWARE
from host_sim.link_client import LinkClient
from host_sim.profile import load_profile
from pins import gpio
from secondtank import cli, flash, flash_plan, flash_port, flash_uf2
from secondtank.flash_set import FOLDERS, ProgramSet, build, start_file
from tests.board.rig import copy_of_firmware
from tests.flash.conftest import Two
from tests.flash.rig import Attached, Cable, NoProgram, copied, flash_it, started, tree
from tests.link.desk import Desk, oil_left, on_oil, parked

FULL = load_profile("full_guard")


@pytest.fixture(scope="session")
def program() -> ProgramSet:
    """The firmware of this tree."""
    return build(FIRMWARE)


@pytest.fixture
def new_board(tmp_path: Path) -> Path:
    board = tmp_path / "board"
    board.mkdir()
    return board


def used(board: Path, oil: bool) -> Path:
    """Record and settings of a board that has driven."""
    record = Record()
    for oil_in_lines in (True, False, oil):
        record.oil_in_lines = oil_in_lines
        data = record.encode()
        assert store.write_slot(str(board), record.slot(), data)
    assert store.save_settings(str(board), FULL)
    return board


def refusal(
    attached: Attached, program: ProgramSet, board: Path, monkeypatch: pytest.MonkeyPatch, **asked: bool
) -> str:
    """What is said when nothing is done, which it is not."""
    before = tree(board)
    with pytest.raises(InputError) as error:
        flash_it(monkeypatch, attached, program, board.parent / "out", **asked)
    assert tree(board) == before
    assert attached.starts == 1
    return str(error.value)


# A new board.


@pytest.mark.parametrize("word", ["NEVER", "no"])
def test_a_new_board_gets_a_record_on_its_owners_word_alone(
    word: str, micropython: Path, program: ProgramSet, new_board: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(flash, "_terminal", lambda: True)
    monkeypatch.setattr("builtins.input", lambda prompt: word)
    assert (
        flash_it(monkeypatch, Attached(Cable(micropython, new_board)), program, new_board.parent, settings="full_guard")
        == 0
    )
    slots = store.read_slots(str(new_board))
    assert any(slots) == (word == "NEVER")
    assert choose(slots).oil_in_lines == (word != "NEVER")
    pico = started(micropython, new_board)
    pico.run(1)
    told = pico.ask("status")
    pico.close()
    assert store.load_settings(str(new_board))[0] == FULL
    assert ("the lines hold diesel" in told) == (word == "NEVER")


def test_where_nobody_can_be_asked_a_new_board_stays_without_a_record_and_that_is_said(
    micropython: Path,
    program: ProgramSet,
    new_board: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert flash_it(monkeypatch, Attached(Cable(micropython, new_board)), program, new_board.parent) == 0
    assert not any(store.read_slots(str(new_board)))
    said = capsys.readouterr().out
    assert "record: none; the program takes that for oil in the lines" in said
    assert "settings: none on the board" in said
    assert "engine off, key off" in said


# Looking only.


def test_dry_run_writes_nothing_and_verify_finds_what_differs(
    micropython: Path,
    program: ProgramSet,
    new_board: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def run(**asked: bool) -> int:
        return flash_it(
            monkeypatch, Attached(Cable(micropython, new_board)), program, new_board.parent / "out", **asked
        )

    assert run(dry_run=True) == 0
    assert tree(new_board) == {}
    assert run(verify=True) == flash.DIFFERS
    assert "main.py: missing" in capsys.readouterr().out
    assert run() == 0
    assert run(verify=True) == 0
    assert f"sources {program.sources}" in capsys.readouterr().out
    part = new_board / FOLDERS[0]
    (part / "law_of_old.mpy").write_bytes(b"x")
    (part / "changeover/law.mpy").unlink()
    (part / "link.mpy").write_bytes(program.files["panel.mpy"])
    before = tree(new_board)
    assert run(verify=True) == flash.DIFFERS
    assert tree(new_board) == before
    found = [line for line in capsys.readouterr().out.splitlines() if line.startswith("program_a/")]
    assert found == [
        "program_a/changeover/law.mpy: missing",
        "program_a/law_of_old.mpy: not in this tree",
        "program_a/link.mpy: differs",
    ]


def test_the_command_looks_without_a_board(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr("serial.tools.list_ports.comports", list)
    monkeypatch.setattr(sys, "argv", ["secondtank", "flash", "--dry-run"])
    with pytest.raises(SystemExit) as ended:
        cli.main()
    assert ended.value.code == cli.BAD_INPUT
    error = capsys.readouterr().err
    assert "no board with MicroPython" in error
    assert flash_uf2.SOURCE in error


# Refusals.


@pytest.mark.parametrize("closed", ["key", "engine"])
def test_refused_by_the_pins(
    closed: str, micropython: Path, program: ProgramSet, new_board: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cable = Cable(micropython, new_board, closed=(gpio(closed),))
    assert "wanted key off and engine stopped" in refusal(Attached(cable), program, new_board, monkeypatch)


@pytest.mark.parametrize(
    ("desk", "says"),
    [(on_oil, "key on, engine running, ON_OIL"), (oil_left, "oil in the lines")],
)
def test_refused_by_the_running_program(
    desk: Callable[[], Desk],
    says: str,
    micropython: Path,
    program: ProgramSet,
    new_board: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    running: Desk = desk()
    attached = Attached(Cable(micropython, used(new_board, oil=False)), LinkClient(running, clock=running.clock))
    assert says in refusal(attached, program, new_board, monkeypatch)


def test_a_parked_program_with_diesel_in_the_lines_lets_itself_be_replaced(
    micropython: Path, program: ProgramSet, new_board: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    running = parked()
    attached = Attached(Cable(micropython, used(new_board, oil=False)), LinkClient(running, clock=running.clock))
    assert flash_it(monkeypatch, attached, program, new_board.parent) == 0


def test_bench_input_hides_the_board_and_is_refused() -> None:
    running = parked()
    client = LinkClient(running, clock=running.clock)
    client.change("bench on")
    said = flash_port.ask_program(client)
    with pytest.raises(InputError, match="bench input is on"):
        flash_plan.check_said(said)


@pytest.mark.parametrize("torn", [False, True])
def test_oil_recorded_or_a_record_that_cannot_be_read_is_refused_but_for_a_repair(
    torn: bool, micropython: Path, program: ProgramSet, new_board: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    used(new_board, oil=not torn)
    if torn:
        (new_board / "record.0/slot").write_bytes(b"2T")
    assert "found '" + (flash_plan.DAMAGED if torn else flash_plan.OIL)[:40] in refusal(
        Attached(Cable(micropython, new_board)), program, new_board, monkeypatch
    )
    running = oil_left()
    attached = Attached(Cable(micropython, new_board), LinkClient(running, clock=running.clock))
    assert "this one does" in refusal(attached, program, new_board, monkeypatch, repair=True)
    before = store.read_slots(str(new_board))
    assert flash_it(monkeypatch, Attached(Cable(micropython, new_board)), program, new_board.parent, repair=True) == 0
    assert store.read_slots(str(new_board)) == before


@pytest.mark.parametrize(
    ("about", "says"),
    [
        (("esp32", "ESP32", (1, 28, 0), 6, 300), "a Raspberry Pi Pico with RP2040"),
        (("rp2", "Raspberry Pi Pico2 with RP2350", (1, 28, 0), 6, 300), "a Raspberry Pi Pico with RP2040"),
        (("rp2", "Raspberry Pi Pico with RP2040", (1, 26, 1), 6, 300), "1.27.0 or later"),
    ],
)
def test_another_chip_or_an_old_micropython_is_refused(about: tuple, says: str) -> None:
    with pytest.raises(InputError, match=says):
        flash_plan.check_chip(flash_plan.About(*about))


# Settings.


def test_settings_are_taken_over_in_writing() -> None:
    name, unit, usual, low, high = next(row for row in ROWS if row[0] == "oil_hot_cdegc")
    saved = {**FULL, "old_flag": 1, name: high + 1}
    del saved["dwell_diesel_s"]
    taken = flash_plan.flash_settings.migrate(encode(saved))
    assert taken.changes == [
        f"out of range: {name} was {high + 1}, allowed are {low} to {high}; now {usual} {unit}, its default",
        next(change for change in taken.changes if change.startswith("new: dwell_diesel_s = ")),
        "gone: old_flag, was 1",
    ]
    assert decode(taken.data) == ({**FULL, name: usual}, [])


@pytest.mark.parametrize(
    ("saved", "says"),
    [
        (encode(FULL)[:-3], "last line"),
        (encode({**FULL, "oil_entry_cdegc": FULL["oil_exit_cdegc"]}), "oil_entry_cdegc"),
    ],
)
def test_settings_that_do_not_go_are_refused(saved: bytes, says: str) -> None:
    with pytest.raises(InputError, match="give --settings") as error:
        flash_plan.flash_settings.migrate(saved)
    assert says in error.value.place


# What MicroPython starts with.


def test_a_set_without_its_driver_blinks_red_and_drives_nothing(
    micropython: Path, program: ProgramSet, new_board: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert (
        flash_it(monkeypatch, Attached(Cable(micropython, used(new_board, oil=False))), program, new_board.parent) == 0
    )
    (new_board / "program_a/board_pico.mpy").unlink()
    pico = started(micropython, new_board)
    levels = [pico.tick().levels for _ in range(20)]
    pico.close()
    red = 1 << gpio("red")
    assert set(levels) == {0, red}
    assert sum(levels) == 10 * red


# Broken off by the person, and a connection that goes.


def test_ctrl_c_leaves_the_old_program_and_says_so(
    micropython: Path, two: Two, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    board = copied(two.board, tmp_path / "board")
    cable = Cable(micropython, board)
    real = cable.exec

    def exec_until(command: str, data_consumer=None) -> bytes:
        if "link.mpy" in command and command.startswith("f=open"):
            raise KeyboardInterrupt
        return real(command, data_consumer)

    monkeypatch.setattr(cable, "exec", exec_until)
    monkeypatch.setattr(sys, "argv", ["secondtank", "flash"])
    attached = Attached(cable)
    monkeypatch.setattr(cli, "app", lambda: flash_it(monkeypatch, attached, two.new, tmp_path / "out"))
    with pytest.raises(SystemExit) as ended:
        cli.main()
    assert ended.value.code == cli.INTERRUPTED
    assert f"interrupted while writing program_b/link.mpy: {flash.INTACT}" in capsys.readouterr().err
    assert attached.starts == 1
    assert tree(board)["main.py"] == tree(two.board)["main.py"]


def test_no_room_is_said_before_anything_is_written(
    micropython: Path, program: ProgramSet, new_board: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    short = program.blocks + flash_plan.RESERVE_BLOCKS - 1
    monkeypatch.setattr(
        flash_plan.BoardFiles, "about", lambda self: flash_plan.About("rp2", "RP2040", (1, 28, 0), 6, short)
    )
    assert f"found '{short} blocks" in refusal(Attached(Cable(micropython, new_board)), program, new_board, monkeypatch)


# The port.


class Ports:
    """What the machine has on USB."""

    def __init__(self, device: str, vid: int | None) -> None:
        self.device, self.vid = device, vid


def test_the_board_is_found_by_its_vendor_and_a_person_is_asked_among_several(monkeypatch: pytest.MonkeyPatch) -> None:
    found = [Ports("/dev/modem", 0x1234), Ports("/dev/b", 0x2E8A), Ports("/dev/a", 0x2E8A)]
    monkeypatch.setattr(flash_port.list_ports, "comports", lambda: found)
    with pytest.raises(InputError, match=r"/dev/a, /dev/b.*--port"):
        flash_port.find_port(None, None)
    assert flash_port.find_port(None, lambda ports: 1) == "/dev/b"
    assert flash_port.find_port("/dev/x", None) == "/dev/x"
    del found[1]
    assert flash_port.find_port(None, None) == "/dev/a"


class Serial:
    """A transport whose chip answers the first interrupt by a reset, as under its watchdog."""

    def __init__(self, resets: int) -> None:
        self.resets = resets
        self.opened = 0
        self.asked: list[str] = []

    def exec_raw_no_follow(self, command: str) -> None:
        self.asked.append(command)

    def enter_raw_repl(self, soft_reset: bool) -> None:
        self.asked.append(f"prompt, {soft_reset}")
        if self.resets:
            self.resets -= 1
            raise OSError(6, "Device not configured")

    def close(self) -> None:
        pass


@pytest.mark.parametrize("resets", [0, 1, 3])
def test_a_watched_program_is_stopped_by_a_second_interrupt(resets: int, monkeypatch: pytest.MonkeyPatch) -> None:
    chip = Serial(resets)

    def opened(self: flash_port.Session) -> Serial:
        chip.opened += 1
        return chip

    monkeypatch.setattr(flash_port.Session, "_open", opened)
    monkeypatch.setattr(flash_port.time, "sleep", lambda s: None)
    session = flash_port.Session("/dev/board")
    if resets == 3:
        with pytest.raises(InputError, match="unplug the board"):
            session.stop()
    else:
        session.stop()
        assert chip.opened == 1 + resets
        session.start()
        session.start()
        assert chip.asked == [*["prompt, True"] * (1 + resets), "prompt, False", "import machine\nmachine.reset()"]


def test_a_port_that_cannot_be_opened_is_named() -> None:
    with pytest.raises(InputError, match="/dev/null/board"):
        flash_port.Session("/dev/null/board")


# MicroPython's image. Numbers: the UF2 specification's table and the RP2040 datasheet.


def image(blocks: int = 4, **wrong: int) -> bytes:
    """A UF2 file."""
    head = {
        "first": 0x0A324655,
        "second": 0x9E5D5157,
        "flags": 0x2000,
        "address": 0x10000000,
        "size": 256,
        "family": 0xE48BFF56,
    }
    head.update(wrong)
    data = b""
    for number in range(blocks):
        address = head["address"] + 256 * number
        fields = (head["first"], head["second"], head["flags"], address, head["size"], number, blocks, head["family"])
        data += struct.pack("<8I476sI", *fields, b"", 0x0AB16F30)
    return data


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"not an image", "whole blocks of 512"),
        (image()[:-512], "the file is not whole"),
        (image(family=0xE48BFF59), "0xe48bff56"),  # the RP2350's (uf2families.json)
        (image(flags=0), "0xe48bff56"),
        (image(second=1), "magic"),
        (image(size=476), "256 bytes between"),
        (image(address=0x100A0000 - 3 * 256), "record and settings"),
        (image(address=0x20000000), "256 bytes between"),
    ],
)
def test_an_image_that_is_not_for_this_chip_or_reaches_the_files_is_refused(
    data: bytes, says: str, tmp_path: Path
) -> None:
    path = tmp_path / "image.uf2"
    path.write_bytes(data)
    with pytest.raises(InputError, match=says):
        flash_uf2.check_uf2(path)


def test_an_image_is_copied_to_the_only_drive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path, drive = tmp_path / "image.uf2", tmp_path / "media/me/RPI-RP2"
    path.write_bytes(image(address=0x100A0000 - 4 * 256))  # ends where the files begin
    drive.mkdir(parents=True)
    (drive / "INFO_UF2.TXT").write_text("UF2 Bootloader v3.0\nModel: Raspberry Pi RP2\nBoard-ID: RPI-RP2\n")
    monkeypatch.setattr(flash_uf2, "_candidates", lambda: (tmp_path / "media").glob("*/*/INFO_UF2.TXT"))
    assert flash_uf2.copy_uf2(path, flash_uf2.drives()) == drive
    assert (drive / "image.uf2").read_bytes() == path.read_bytes()
    (drive / "INFO_UF2.TXT").write_text("Board-ID: Something-else\n")
    with pytest.raises(InputError, match="BOOTSEL"):
        flash_uf2.copy_uf2(path, flash_uf2.drives())


# Agreement with the firmware.


def test_paths_are_the_firmwares(tmp_path: Path) -> None:
    used(tmp_path, oil=False)
    assert {name.split("/")[0] for name in tree(tmp_path)} == set(flash_plan.KEPT)
    assert flash_plan.SAVED in tree(tmp_path)
    assert 'os.rename("settings/for_program_a", "settings/saved")' in start_file("program_a", 20).decode()


def test_a_source_that_does_not_compile_is_named(tmp_path: Path) -> None:
    copy = copy_of_firmware(tmp_path / "firmware", {"link.py": ("class Link:", "class Link")})
    with pytest.raises(InputError, match=r"link\.py"):
        build(copy)


def test_nobody_answers_a_link_without_a_program() -> None:
    assert flash_port.ask_program(NoProgram()) is None  # pyright: ignore[reportArgumentType]
