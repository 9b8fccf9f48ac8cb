"""Watching a board on a desk in this process: what is sent, what is kept of what comes, what a person is told."""

from __future__ import annotations

import csv
import json
from datetime import UTC, datetime, timedelta
from itertools import islice, pairwise
from pathlib import Path

import pytest
from rich.console import Console

from changeover import messages
from changeover.inputs import KEY
from changeover.sensing import OIL, OPEN
from changeover.settings_file import settings_hash
from changeover.states import STATES
from host_sim import board_log
from host_sim.errors import InputError
from host_sim.signals import ANALOG_NAMES, DIGITAL_NAMES
from panel_words import REASONS
from secondtank.monitor import MonitorOrder, run_monitor
from secondtank.monitor_board import Board, Event, Item, Monitored, Row
from secondtank.monitor_log import Log
from secondtank.monitor_view import Lines, Screen, Seen, as_json, message_text, reason_text, spark
from tests.law.rig import OPEN_COUNTS
from tests.link.desk import Desk, on_oil, parked
from tests.monitor.rig import Wire


class Told(Desk):
    """Keeps what the law read and decided in each tick, apart from the link."""

    def tick(self) -> None:
        super().tick()
        law = self.law
        kept = {"state": law.machine.state, "message": law.panel.message, "blocked": law.interlocks.blocked}
        kept |= {f"raw_{name}": value for name, value in zip(ANALOG_NAMES, self.rig.counts, strict=True)}
        kept |= {f"in_{name}": int(on) for name, on in zip(DIGITAL_NAMES, self.rig.levels, strict=True)}
        kept |= {"out_supply": int(self.pins[0]), "out_return": int(self.pins[1]), "out_heater": int(self.pins[2])}
        kept |= {"lamp_green": law.panel.green, "lamp_red": law.panel.red, "lamp_amber": law.panel.amber}
        self.ticks = {**getattr(self, "ticks", {}), self.rig.now_ms: kept}


def watched(desk: Desk, items: int, set_clock: bool = False) -> tuple[list[Item], Wire]:
    """So many items of what a monitor sees, and its wire; it is ended as Ctrl-C ends it."""
    wire = Wire(desk)
    monitored = Monitored("desk", set_clock, lambda _: wire)
    seen = list(islice(monitored.follow(), items))
    monitored.close()
    assert monitored.counts["missed"] == 0
    assert wire.closed
    return seen, wire


@pytest.mark.parametrize("scene", [parked, on_oil])
def test_only_reading_commands_are_sent_and_the_clock_where_it_was_asked_for(scene: object) -> None:
    desk = scene()  # pyright: ignore[reportCallIssue]
    items, wire = watched(desk, 400)
    assert wire.changes() == []
    assert {line.split()[0] for line in wire.sent if line} == {
        "echo",
        "watch",
        "version",
        "get",
        "status",
        "faults",
        "credited",
    }
    assert sum(isinstance(item, Row) for item in items) > 50
    assert desk.link.commands.every_ticks == 0, "it ends what it began"
    assert desk.journal.clocks == []

    items, wire = watched(desk, 400, set_clock=True)
    (line,) = wire.changes()
    assert line.startswith("clock ")
    told = datetime.strptime(desk.journal.clocks[0], "%Y-%m-%d %H:%M:%S").replace(tzinfo=UTC)
    assert abs(datetime.now(UTC) - told) < timedelta(seconds=60)
    assert [item.kind for item in items if isinstance(item, Event)] == ["clock"]
    items, _ = watched(desk, 100, set_clock=True)
    refused = next(item for item in items if isinstance(item, Event))
    assert refused.text == "error clock: it was set less than a minute ago"


def test_log_holds_what_the_law_read_and_decided_under_the_columns_of_a_drives_log(tmp_path: Path) -> None:
    desk = Told(on_oil().rig)
    log = Log(tmp_path / "log.csv")
    wire = Wire(desk)
    for item in islice(Monitored("desk", False, lambda _: wire).follow(), 600):
        if isinstance(item, Board):
            log.begin(item)
        elif isinstance(item, Row):
            if item.told.tick_ms % 5000 == 0:
                desk.rig.ready(not desk.rig.levels[2])
            log.row(item)
    log.close()
    lines = (tmp_path / "log.csv").read_text().splitlines()
    head = [line for line in lines if line.startswith("#")]
    assert head[0] == f"# secondtank log, form {board_log.FORM}"
    settings = dict(line.removeprefix("# setting ").split("=") for line in head if line.startswith("# setting "))
    assert {name: int(value) for name, value in settings.items()} == desk.values
    assert f"# settings_hash={settings_hash(desk.values)}" in head
    assert "# firmware_hash=unknown" in head, "this board has none to tell"
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    assert tuple(rows[0]) == board_log.COLUMNS
    assert len(rows) == log.lines > 100
    for number, row in enumerate(rows):
        assert int(row["t_ms"]) == 200 * number
        told = desk.ticks[int(row["tick_ms"])]
        assert {name: int(row[name]) for name in told} == told
    assert {STATES[int(row["state"])] for row in rows} >= {"ON_OIL", "PURGING"}, "a log in which things happen"


def test_log_is_never_written_over_and_other_settings_begin_another(tmp_path: Path) -> None:
    path = tmp_path / "a.log.csv"
    log = Log(path)
    desk = parked()
    board = next(item for item in watched(desk, 20)[0] if isinstance(item, Board))
    log.begin(board)
    log.begin(board)
    assert log.path == path
    log.begin(Board("x", board.version, "0" * 16, board.start, board.law, board.values))
    assert log.path == tmp_path / "a.log.2.csv"
    assert [text.count("# version=") for text in (path.read_text(), log.path.read_text())] == [1, 1]
    with pytest.raises(InputError, match="a log is never written over"):
        Log(path)


def test_board_of_another_program_is_refused_by_name() -> None:
    desk = parked()
    desk.values.pop("reverts_max")
    with pytest.raises(InputError, match="differ in: reverts_max"):
        list(islice(Monitored("desk", False, lambda _: Wire(desk)).follow(), 5))


def test_port_that_is_not_there_is_bad_input(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(InputError, match="a serial port of this machine that nobody else has open"):
        run_monitor(MonitorOrder("/nowhere/port", None, False, None, False))
    assert capsys.readouterr().out == ""


class Noisy(Wire):
    """In some rows a letter is another."""

    reads = 0

    def read(self, size: int, /) -> bytes:
        data = super().read(size)
        self.reads += 1
        return data if self.reads % 37 else data.replace(b"msg=", b"msq=")


def test_damaged_rows_are_left_out_and_counted_and_so_is_what_is_missing() -> None:
    monitored = Monitored("desk", False, lambda _: Noisy(on_oil()))
    rows = [item for item in islice(monitored.follow(), 3000) if isinstance(item, Row)]
    steps = [after.t_ms - before.t_ms for before, after in pairwise(rows)]
    counts = monitored.counts
    assert counts["damaged"] > 3
    assert sum(step // 200 - 1 for step in steps) == counts["missed"] > 3
    assert counts["rows"] == len(rows) > 500
    assert all(row.told.tick_ms % 200 == rows[0].told.tick_ms % 200 for row in rows)


def test_board_that_starts_again_under_the_same_number_is_known_by_its_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its last start had no time to write the trip log."""
    monkeypatch.setattr("secondtank.monitor_board._AGAIN_S", 0.0)
    wires = iter([Wire(on_oil(), breaks_in=9000), Wire(parked(), breaks_in=9000), Wire(on_oil())])
    monitored = Monitored("desk", False, lambda _: next(wires))
    items = list(islice(monitored.follow(), 300))
    events = [item.kind for item in items if isinstance(item, Event)]
    assert events == ["cable", "reset", "cable"], "the third has run longer than the second"
    assert (monitored.counts["cable"], monitored.counts["reset"]) == (2, 1)
    times = [item.t_ms for item in items if isinstance(item, Row)]
    assert times == sorted(set(times))


# what a person and a program see


def seen_of(desk: Desk) -> tuple[Seen, list[Item]]:
    seen = Seen()
    items = watched(desk, 60)[0]
    for item in items:
        seen.take(item)
    return seen, items


def test_readings_are_the_laws_own_and_a_distrusted_one_has_its_reason_and_no_number() -> None:
    desk = on_oil()
    seen, _ = seen_of(desk)
    shown = {reading.name: reading for reading in seen.readings}
    for reading, per, index in (
        (shown["coolant"], 100, 0),
        (shown["oil at the filter"], 100, 1),
        (shown["supply"], 1000, 7),
    ):
        assert reading.value == pytest.approx(desk.law.inputs.channel[index].value / per)
    assert shown["suction"].value == pytest.approx(desk.law.inputs.suction_pa / 1000)
    assert shown["oil at the filter"].limits == {"entry": 74.0, "exit": 69.0, "hot": 100.0}
    assert "ambient pressure" not in shown, "not fitted"
    desk.rig.counts[OIL] = OPEN_COUNTS
    desk.run(2)
    seen, items = seen_of(desk)
    oil = next(reading for reading in seen.readings if reading.key == "oil_c")
    assert (oil.value, oil.why) == (None, REASONS[OPEN])
    row = json.loads(next(as_json(item, seen) for item in items if isinstance(item, Row)) or "")
    assert row["oil_c"] is None
    assert row["not_trusted"] == {"oil_c": "open"}
    assert row["coolant_c"] == pytest.approx(desk.law.inputs.channel[0].value / 100)


def test_lines_tell_each_second_and_each_move() -> None:
    desk = parked()
    lines, seen, told = Lines(), Seen(), []
    wire = Wire(desk)
    for number, item in enumerate(islice(Monitored("desk", False, lambda _: wire).follow(), 300)):
        if number == 150:
            desk.rig.key(True)
        seen.take(item)
        told += lines.told(item, seen)
    assert told[0].startswith("-- desk: changeover ")
    states = [line.split(" s  ")[1].split()[0] for line in told[1:]]
    assert states[0] == "PARKED"
    assert states[-1] == "ON_DIESEL"
    seconds = [float(line.split()[0]) for line in told[1:]]
    assert seconds == sorted(seconds)
    ticks = desk.rig.now_ms / 1000 - 1
    assert ticks - 5 < len(seconds) < ticks + 10


def shown(screen: Screen, seen: Seen, width: int) -> str:
    console = Console(width=width, record=True, file=open("/dev/null", "w", encoding="utf-8"))  # noqa: SIM115
    screen._console = console
    console.print(screen.drawn(seen, Monitored("desk", False).counts, "; 5 rows in x.csv"))
    console.file.close()
    return console.export_text()


@pytest.mark.parametrize("width", [60, 80, 120])
def test_live_table_fits_the_terminal_and_says_when_it_is_old(width: int, monkeypatch: pytest.MonkeyPatch) -> None:
    desk = on_oil()
    desk.rig.levels[KEY] = True
    screen, seen = Screen(Console()), Seen()
    for item in watched(desk, 200)[0]:
        seen.take(item)
        if isinstance(item, Row):
            screen.add(seen)
    text = shown(screen, seen, width)
    assert all(len(line) <= width for line in text.splitlines())
    for words in (
        "ON_OIL",
        "ON OIL: Purge before a long stop",
        "green on",
        "supply valve on oil",
        "entry 74, exit 69",
        "purge credit 0.0 mL",
    ):
        assert words in text or width == 60, words
    assert ("▁" in text) == (width > 70)
    assert "NO ROW" not in text
    monkeypatch.setattr(seen, "_row_s", seen._row_s - 12)
    assert "NO ROW FOR 12 s: what stands here is old" in shown(screen, seen, 120)


def test_bars_run_from_least_to_most_and_noise_stays_flat() -> None:
    assert spark([1.0, 2.0, None, 8.0], 1.0) == "▁▂ █"
    assert spark([13.90, 13.91, 13.90], 0.5) == "▁▁▁"
    assert spark([None, None], 1.0) == "  "


def test_words_of_every_id_and_of_ids_to_come() -> None:
    assert message_text(messages.STANDING, ["state PARKED", "says MAY STAND (min) 43: from now on as it is"]) == (
        "MAY STAND (min) 43: from now on as it is"
    )
    assert message_text(60, []) == "message 60, which this version does not know"
    assert all(message_text(number, []) for number in messages.ENGLISH)
    assert (reason_text(1), reason_text(32), reason_text(99)) == ("fuel starved", "key off", "reason 99")


def test_readings_keep_the_order_of_the_links_answer() -> None:
    desk = on_oil()
    said = [line.partition(":")[0] for line in desk.say("status\n") if ": " in line]
    seen, _ = seen_of(desk)
    names = [reading.name for reading in seen.readings]
    assert [name for name in said if name in names] == names
