"""How much goes through the board's port: the firmware under MicroPython on a pseudo-terminal, and the port alone."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest

from host_sim.link_client import LinkClient
from tests.board.rig import FIRMWARE, Pico
from tests.link.attack import warm_bench

MINUTE_TICKS = 600


class Cable:
    """A board's terminal as a stream of bytes: a tick goes by whenever somebody listens."""

    def __init__(self, pico: Pico) -> None:
        self.pico = pico
        self.bytes_in = self.bytes_out = 0

    def read(self, size: int, /) -> bytes:
        self.pico.tick()
        data = self.pico.terminal.read()
        self.bytes_out += len(data)
        return data

    def write(self, data: bytes, /) -> None:
        self.bytes_in += len(data)
        assert self.pico.terminal.write(data) == len(data)

    def clock(self) -> float:
        return self.pico.now_ms / 1000


@pytest.fixture
def cable(micropython: Path, tmp_path: Path) -> Iterator[Cable]:
    pico = Pico(micropython, tmp_path)
    pico.boot()
    pico.run(3)
    yield Cable(pico)
    pico.close()


def test_five_rows_a_second_bench_input_and_answers_go_through_together(cable: Cable) -> None:
    """For a minute, by a host that asks one thing after the other: no row is dropped and the bench never ends."""
    host = LinkClient(cable, clock=cable.clock)
    host.sync()
    host.change("bench on")
    host.ask("watch 2")
    words = warm_bench(80.0).split()
    counts, levels = [int(word) for word in words[1:11]], [bit == "1" for bit in words[11]]
    began_ms, began_bytes = cable.pico.now_ms, cable.bytes_out
    fed = asked = 0
    while cable.pico.now_ms - began_ms < 100 * MINUTE_TICKS:
        host.feed(counts, levels)
        fed += 1
        if fed % 5 == 0:
            asked += sum(len(line) + 1 for line in host.ask("status"))
    assert list(host.notes) == []
    steps = [after.tick_ms - before.tick_ms for before, after in pairwise(host.rows)]
    assert set(steps) == {200}
    assert len(steps) > MINUTE_TICKS // 2 - 5
    assert host.rows[-1].lost == 0
    assert host.damaged == 0
    print(
        f"a second: {fed / 60:.1f} bench lines, {asked / 60:.0f} bytes of status, {(cable.bytes_out - began_bytes) / 60:.0f} in all"
    )
    assert fed / 60 > 4
    assert asked / 60 > 500


def test_a_long_answer_outlasts_the_lease_as_the_page_says(cable: Cable) -> None:
    host = LinkClient(cable, clock=cable.clock)
    host.sync()
    host.change("bench on")
    host.ask("watch 2")
    host.ask("get")
    host.ask("echo x")
    assert list(host.notes) == ["bench ended: nothing came for a second"]


def test_long_answers_come_as_fast_as_the_page_says(cable: Cable) -> None:
    host = LinkClient(cable, clock=cable.clock)
    host.sync()
    began_ms, before = cable.pico.now_ms, cable.bytes_out
    for _ in range(4):
        host.ask("get")
    a_second = 1000 * (cable.bytes_out - before) / (cable.pico.now_ms - began_ms)
    assert 2000 < a_second <= 2304, "256 bytes in nine ticks of ten"


def test_what_comes_faster_than_a_tick_takes_waits_and_is_not_lost(cable: Cable) -> None:
    """Four lines of 100 bytes at once, at 128 bytes a tick."""
    cable.write(b"".join(b"echo %d%s\n" % (number, b"x" * 93) for number in range(4)))
    heard = b"".join(cable.read(0) for _ in range(8))
    assert [line[:9] for line in heard.split(b"\n")[:-1]] == [b"ok echo %d" % number for number in range(4)]


ALONE = """
import sys
sys.path.insert(0, sys.argv[1])
import micropython
from usb_port import OUT_BYTES, Port

def play(found):
    micropython.heap_lock()
    found[0] = port.read(came)
    found[1] = port.room()
    passes = 600
    while passes:
        found[2] += port.write(data)
        passes -= 1
    found[3] = port.room()
    micropython.heap_unlock()

port = Port()
came = bytearray(128)
data = bytes(range(32, 127)) * 4
found = [0] * 4
port.read(bytearray(1)), port.room()  # the first question makes the tuple of all answers
play(found)
sys.stderr.write("%d %d %d %d %d\\n" % tuple(found + [OUT_BYTES]))
"""


def test_port_takes_nothing_from_the_heap_and_stops_where_there_is_no_room(micropython: Path, tmp_path: Path) -> None:
    """The heap is locked; nobody reads the pipe, which takes fewer than 600 times 256 bytes."""
    script = tmp_path / "alone.py"
    script.write_text(ALONE)
    out_read, out_write = os.pipe()
    in_read, in_write = os.pipe()
    os.write(in_write, b"\n" * 300)
    try:
        done = subprocess.run(
            [micropython, script, FIRMWARE], stdin=in_read, stdout=out_write, stderr=subprocess.PIPE, text=True, timeout=20, check=False
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        taken, room, sent, left, most = map(int, done.stderr.split())
        assert (taken, room, left) == (128, most, 0)
        os.set_blocking(out_read, False)
        got = b""
        while len(got) < sent:
            got += os.read(out_read, 65536)
        whole = (bytes(range(32, 127)) * 4)[:most]
        assert len(got) == sent < 600 * most
        assert got.startswith(whole * 2)
    finally:
        for handle in (out_read, out_write, in_read, in_write):
            os.close(handle)
