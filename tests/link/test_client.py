"""The host's side: the same client over the link in this process and over a pseudo-terminal."""

from __future__ import annotations

import os
import threading
import tty
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import pytest

from changeover.settings import defaults
from host_sim.link_client import LinkClient, LinkError, LinkRefused, LinkSilent, Terminal, telemetry
from tests.link.attack import Attacker, warm_bench
from tests.link.desk import JOURNAL, Desk, on_oil, parked


def client(desk: Desk) -> LinkClient:
    return LinkClient(desk, clock=desk.clock)


def test_client_asks_changes_and_is_refused() -> None:
    desk = parked()
    host = client(desk)
    host.sync()
    assert host.ask("echo x") == ["x"]
    assert host.ask("get path_ul") == ["path_ul=100000"]
    values = dict(line.split("=") for line in host.ask("get"))
    assert {name: int(value) for name, value in values.items()} == desk.values
    assert set(values) == set(defaults())
    host.change("set path_ul 90000")
    with pytest.raises(LinkRefused, match=r"path_ul is 1, should be a whole number from 10000 to 3000000"):
        host.change("set path_ul 1")
    host.change("set oil_entry_cdegc 6600")
    with pytest.raises(LinkRefused) as refused:
        host.change("save")
    assert refused.value.why == "error save: nothing saved, wrong: 2"
    assert refused.value.lines[0] == "oil_entry_cdegc is 6600, allowed: 7300 or more"


def test_client_reads_the_log_and_notices_a_damaged_line() -> None:
    desk = parked()
    host = client(desk)
    assert host.log(1) == ["B,1", *JOURNAL]

    class Noisy(Desk):
        def read(self, size: int, /) -> bytes:
            return super().read(size).replace(b"12.3", b"12.4")

    with pytest.raises(LinkError, match="1 damaged lines of 3"):
        LinkClient(Noisy(), clock=desk.clock).log(1)


def test_client_finds_its_place_after_an_attack_and_in_the_middle_of_an_answer() -> None:
    desk = on_oil()
    desk.room = 64
    host = client(desk)
    attacker = Attacker(5)
    for _ in range(60):
        for _ in range(5):
            desk.write(attacker.line())
            desk.tick()
        desk.write(b"watch 1\nget\njournal\n")
        desk.tick()
        host.sync()
        assert host.ask("echo here") == ["here"]


def test_client_says_when_nobody_answers() -> None:
    desk = parked()
    host = LinkClient(desk, timeout_s=1.0, clock=desk.clock)
    desk.room = 0
    with pytest.raises(LinkSilent, match=r"no last line for 1\.0 s"):
        host.ask("status")
    with pytest.raises(LinkSilent):
        host.sync()
    desk.room = 512
    host.sync()
    assert host.ask("echo again") == ["again"]


def test_client_watches_every_tick_and_stops() -> None:
    desk = on_oil()
    host = client(desk)
    rows = []
    stream = host.watch(1)
    for row in stream:
        rows.append(row)
        if len(rows) == 30:
            stream.close()  # pyright: ignore[reportAttributeAccessIssue]
            break
    assert [row.tick_ms for row in rows] == list(range(rows[0].tick_ms, rows[0].tick_ms + 3000, 100))
    assert all(row.state == "ON_OIL" and row.out["supply"] == 1 and row.lost == 0 for row in rows)
    assert host.damaged == 0
    assert desk.link.commands.every_ticks == 0


def test_client_feeds_the_bench_and_hears_why_it_ended() -> None:
    desk = parked()
    host = client(desk)
    host.change("bench on")
    words = warm_bench(80.0).split()
    for _ in range(3):
        host.feed([int(word) for word in words[1:11]], [bit == "1" for bit in words[11]])
    assert desk.link.bench.counts == [int(word) for word in words[1:11]]
    desk.run(1.1)
    host.ask("echo x")
    assert list(host.notes) == ["bench ended: nothing came for a second"]
    with pytest.raises(LinkRefused, match="it is not on"):
        host.feed([0] * 10, [False] * 10)


def test_pair_of_lines_that_do_not_belong_together_is_no_row() -> None:
    desk = on_oil()
    desk.say("watch 1\n")
    tick, raw = [line.rpartition(" *")[0] for line in desk.say(b"")[-2:]]
    telemetry(tick, raw)
    for other in (raw.replace("raw ", "raw 1"), raw.replace("in=", "in=0"), tick, raw.replace(" lost", "")):
        with pytest.raises((ValueError, KeyError)):
            telemetry(tick, other)


@contextmanager
def on_a_terminal(desk: Desk) -> Iterator[str]:
    """The desk's link behind a pseudo-terminal, a tick whenever something may have come; its path."""
    board, host = os.openpty()
    tty.setraw(board)
    os.set_blocking(board, False)
    stop = threading.Event()

    def serve() -> None:
        while not stop.wait(0.002):
            with suppress(BlockingIOError):
                desk.write(os.read(board, 64))
            desk.tick()
            os.write(board, desk.heard)
            desk.heard = b""

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield os.ttyname(host)
    finally:
        stop.set()
        thread.join()
        os.close(board)
        os.close(host)


def test_same_client_over_a_pseudo_terminal() -> None:
    desk = parked()
    with on_a_terminal(desk) as path:
        port = Terminal(path)
        host = LinkClient(port, timeout_s=5.0)
        port.write(b"\xffgarbage")
        host.sync()
        assert len(host.ask("get")) == len(desk.values)
        host.change("set path_ul 90000")
        assert [row.state for row, _ in zip(host.watch(2), range(3), strict=False)] == ["PARKED"] * 3
        port.close()
    assert desk.link.commands.settings.staged == {"path_ul": 90000}
