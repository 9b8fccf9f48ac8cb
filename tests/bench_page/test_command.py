"""What the command refuses before it serves anything: one clear sentence each."""

from __future__ import annotations

import socket
from pathlib import Path

import pytest

from host_sim.errors import InputError
from secondtank.bench.run import BenchOrder, run_bench


def order(tmp_path: Path, port: str | None = None, virtual: bool = False, page_port: int = 8399) -> BenchOrder:
    return BenchOrder(port, virtual, tmp_path / "records", page_port, False)


def test_port_that_is_none_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"no-such-port: found .* wanted a serial port that you may use"):
        run_bench(order(tmp_path, str(tmp_path / "no-such-port")))


def test_no_board_on_usb_points_to_the_one_inside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("secondtank.flash_port.list_ports.comports", list)
    with pytest.raises(InputError, match="or --virtual, a board in this program"):
        run_bench(order(tmp_path))


def test_two_boards_at_once_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="a port or --virtual, not both"):
        run_bench(order(tmp_path, "somewhere", True))


def test_page_s_port_that_is_taken_is_named(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(InputError, match=r"--page-port: found .* wanted a port of this machine that is free"):
            run_bench(order(tmp_path, virtual=True, page_port=taken.getsockname()[1]))


def test_records_that_cannot_be_kept_are_refused_before_anything_is_measured(tmp_path: Path) -> None:
    (tmp_path / "records").write_text("a file", encoding="utf-8")
    with pytest.raises(InputError, match="a folder for records that can be written"):
        run_bench(order(tmp_path, virtual=True))
