"""The verb `board`: a serial port with the firmware behind it, as a terminal program meets it."""

from __future__ import annotations

import os
import select
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

import store
from secondtank import cli

ROOT = Path(__file__).parents[2]


@contextmanager
def desk(tmp_path: Path, *arguments: str | Path) -> Iterator[tuple[subprocess.Popen[str], int]]:
    """The command, running, and its port, open."""
    port = tmp_path / "port"
    command = [
        sys.executable,
        "-c",
        "from secondtank.cli import main; main()",
        "board",
        "--flash",
        tmp_path / "flash",
        "--port",
        port,
        *arguments,
    ]
    environment = {
        **os.environ,
        "PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "firmware"), str(ROOT / "tools")]),
    }
    with subprocess.Popen(
        command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    ) as process:
        assert process.stdout is not None
        try:
            assert process.stdout.readline() == f"serial port: {port}\n"
            terminal = os.open(port, os.O_RDWR | os.O_NOCTTY)
            try:
                yield process, terminal
            finally:
                os.close(terminal)
        finally:
            process.send_signal(signal.SIGINT)
            process.wait(timeout=20)


def ask(terminal: int, line: str) -> list[str]:
    """Type a line, read to its last word."""
    os.write(terminal, line.encode() + b"\n")
    heard = b""
    end = time.monotonic() + 20.0
    while time.monotonic() < end:
        if select.select([terminal], [], [], 0.1)[0]:
            heard += os.read(terminal, 4096)
            lines = heard.decode().split("\n")
            if any(text.startswith(("ok", "error")) for text in lines[:-1]):
                return lines[:-1]
    raise AssertionError(heard)


def stamped(terminal: int, line: str) -> list[str]:
    """A line that changes something: the refusal shows it with its checksum."""
    return ask(terminal, ask(terminal, line)[-2].strip())


def test_a_person_at_a_terminal_reads_and_changes_settings(micropython: Path, tmp_path: Path) -> None:
    with desk(tmp_path, "--speed", "0") as (process, terminal):
        assert any(line.startswith("state PARKED") for line in ask(terminal, "status"))
        assert stamped(terminal, "set oil_entry_cdegc 7600")[-1].startswith("ok set")
        assert stamped(terminal, "save")[-1].startswith("ok save")
        assert process.poll() is None
    assert store.load_settings(str(tmp_path / "flash"))[0]["oil_entry_cdegc"] == 7600
    assert not (tmp_path / "port").is_symlink()


def test_bench_input_over_the_port_drives_the_pins_of_a_parked_board(micropython: Path, tmp_path: Path) -> None:
    with desk(tmp_path, "--speed", "2") as (_, terminal):
        ask(terminal, "status")
        assert stamped(terminal, "bench on")[-1] == "ok bench on"
        assert "bench input" in "\n".join(ask(terminal, "status"))
        time.sleep(1.0)
        assert "bench input" not in "\n".join(ask(terminal, "status")), "silence ends it"


def test_a_drive_is_told_move_by_move(micropython: Path, tmp_path: Path) -> None:
    with desk(tmp_path, "winter_commute", "--speed", "0", "--minutes", "0.5") as (process, _):
        out = process.communicate(timeout=60)[0]
    assert process.returncode == 0, out
    assert "PARKED -> ON_DIESEL: key on" in out


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--flash", "/dev/null/x"], "/dev/null/x"),
        (["--port", "/nowhere/port"], "/nowhere/port"),
        (["no_such_scenario"], "no_such_scenario"),
    ],
)
def test_bad_input_is_one_clear_message(
    arguments: list[str],
    says: str,
    micropython: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sys, "argv", ["secondtank", "board", "--minutes", "0", *arguments])
    with pytest.raises(SystemExit) as ended:
        cli.main()
    assert ended.value.code == cli.BAD_INPUT
    error = capsys.readouterr().err
    assert says in error
    assert "Traceback" not in error
