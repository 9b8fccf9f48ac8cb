"""What the link may do and when, how it bears a host that does not read, how it finds its place."""

from __future__ import annotations

import json
import os
from binascii import crc_hqx
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from changeover.inputs import ENGINE, KEY
from changeover.law import Law
from changeover.memory import Record
from changeover.messages import ENGLISH
from changeover.settings import ROWS, defaults
from changeover.states import STATES
from host_sim.link_client import stamped, telemetry, unstamped
from link_lines import crc16, folded, quantity
from link_report import tick_line
from link_table import CHANGES, NAME, TABLE
from store import load_settings, save_settings
from tests.law.rig import Rig
from tests.link.attack import warm_bench
from tests.link.desk import Desk, Journal, oil_left, on_oil, parked
from tests.link.siege import Siege, decided, fresh

LINES = int(os.environ.get("LINK_LINES", "4000"))  # of the attack; a deep run takes a million
TEXT = st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=130)


def change(desk: Desk, text: str) -> list[str]:
    return desk.say(stamped(text) + "\n")


# the checksum


@given(TEXT)
@example("123456789")
def test_checksum_is_the_standard_librarys(text: str) -> None:
    assert crc16(text) == crc_hqx(text.encode(), 0)


def test_checksum_has_the_catalogues_check_value() -> None:
    """CRC-16/XMODEM, check 0x31C3: https://docs.rs/crc-catalog, constant CRC_16_XMODEM."""
    assert crc16("123456789") == 0x31C3


@given(TEXT, st.booleans())
def test_folded_lines_fit_and_lose_no_word(text: str, stamp: bool) -> None:
    lines = folded(text * 3, stamp)
    assert all(len(line) <= 120 for line in lines)
    plain = [unstamped(line) for line in lines] if stamp else lines
    assert None not in plain
    assert "".join("".join(line.split()) for line in plain if line) == "".join((text * 3).split())


@pytest.mark.parametrize("name", [row[NAME] for row in TABLE if row[CHANGES]])
@pytest.mark.parametrize("flip", range(5))
def test_changing_line_with_one_flipped_bit_does_nothing(name: str, flip: int, tmp_path: Path) -> None:
    arguments = {"set": "set path_ul 90000", "test": "test red", "bench": "bench on"}.get(name, name)
    line = bytearray(stamped(arguments).encode())
    line[flip * (len(line) - 1) // 4] ^= 1
    desk = parked(tmp_path)
    assert desk.say(bytes(line) + b"\n")[-1].startswith("error ")
    assert desk.link.commands.settings.staged == {}
    assert desk.link.bench.law is None
    assert desk.service.asked == []
    assert not list(tmp_path.iterdir())


# settings


def test_saved_settings_are_whole_and_in_force_at_the_next_start(tmp_path: Path) -> None:
    desk = parked(tmp_path)
    change(desk, "set path_ul 90000")
    change(desk, "set reverts_max 7")
    assert change(desk, "set reverts_max 4") == ["ok set reverts_max=4"]
    assert change(desk, "save") == ["ok save 1 changed and saved, in force at the next start"]
    values, errors = load_settings(str(tmp_path))
    assert (values, errors) == ({**desk.values, "path_ul": 90000}, [])
    assert desk.values["path_ul"] == 100000
    assert "settings valid, 1 changed and saved, in force at the next start" in desk.say("status\n")


def test_save_is_no_late_tick() -> None:
    desk = parked()
    change(desk, "save")
    assert desk.law.conditions.lateness.excused


def test_flash_that_refuses_keeps_the_old_settings(tmp_path: Path) -> None:
    save_settings(str(tmp_path), defaults())
    desk = parked(tmp_path)
    (tmp_path / "settings/unproved").mkdir()
    assert change(desk, "save") == ["error save: flash does not take them, the old ones stay"]
    assert load_settings(str(tmp_path)) == (defaults(), [])


def test_nothing_is_set_while_any_valve_may_be_on() -> None:
    desk = Desk(fresh())
    rig = desk.rig
    tried = set()
    for number in range(300):
        if number == 5:
            rig.ready()
            rig.key(True)
            rig.engine(True)
        elif number == 100:
            rig.ready(False)
        elif number == 102:
            rig.key(False)
        answer = change(desk, "set path_ul 90000")[-1]
        assert answer.startswith("ok") == (rig.state in ("PARKED", "ON_DIESEL")), (rig.state, answer)
        tried.add(rig.state)
    assert tried == set(STATES)


# bench input


def granted() -> Desk:
    """The bench with a warm engine on it, until its law is on oil."""
    desk = Desk(fresh())
    desk.run(1)
    assert change(desk, "bench on") == ["ok bench on"]
    for _ in range(150):
        assert change(desk, warm_bench(80.0, *desk.pins[:2])) == ["ok bench"]
    assert desk.driving.machine.state == STATES.index("ON_OIL")
    assert desk.pins == (True, True, False, False)
    return desk


def test_bench_ends_on_diesel_within_a_second_of_silence() -> None:
    desk = granted()
    silent_ms = 0
    while desk.pins[0]:
        desk.tick()
        silent_ms += 100
    assert 800 <= silent_ms <= 1000
    assert desk.pins == (False,) * 4
    assert desk.driving is desk.law
    assert desk.lines() == ["note bench ended: nothing came for a second"]


@pytest.mark.parametrize(("contact", "why"), [(KEY, "the key is on"), (ENGINE, "the engine runs")])
def test_bench_ends_in_the_tick_that_first_shows_key_or_engine(contact: int, why: str) -> None:
    desk = granted()
    desk.rig.levels[contact] = True
    desk.link.take(stamped(warm_bench(80.0)).encode() + b"\n")
    desk.tick()
    assert desk.pins == (False,) * 4
    assert "note bench ended: " + why in desk.say(b"")
    assert change(desk, "bench on") == ["error bench: " + why]


def test_bench_leaves_no_trace_in_law_or_flash() -> None:
    desk = Desk(fresh())
    twin = fresh()
    desk.run(1)
    twin.run(1)
    change(desk, "bench on")
    twin.tick()
    for _ in range(150):
        change(desk, warm_bench(80.0))
        twin.tick()
    assert desk.driving.machine.lines_dirty
    assert decided(desk.law) == decided(twin.law)
    assert desk.rig.slots == twin.slots


def test_bench_decides_as_the_law_does_and_keeps_the_heater_off() -> None:
    """Tick for tick, with records answered a tick later as in the simulated board; `out` shows the heater's wish."""
    desk = Desk(fresh())
    desk.run(1)
    change(desk, "bench on")
    desk.tick()
    record = Record()
    record.oil_in_lines = False
    law = Law(desk.values, record)
    law.step(0, [-1] * 10, [False] * 10)
    due = wished = 0
    for step in range(900):
        line = warm_bench(80.0 if step > 700 else 60.0 + step / 40, law.machine.supply_on, law.machine.return_on)
        counts = [int(word) for word in line.split()[1:11]]
        levels = [bit == "1" for bit in line.split()[11]]
        desk.link.take(stamped(line).encode() + b"\n")
        desk.link.poll(512)
        desk.tick()
        law.step(100 * step + 100, counts, levels)
        bench = desk.link.bench.law
        assert bench is not None
        assert (bench.wants_heater, bench.wants_run_on) == (law.heater.on, law.run_on)
        ours = list(decided(bench))
        ours[3:6] = decided(law)[3:6]  # heater, run-on, power hold
        assert tuple(ours) == decided(law), step
        assert desk.pins[2:] == (False, False)
        wished += bench.wants_heater
        due = due + 1 if law.machine.write_wanted else 0
        if due == 2:
            law.write_record()
            law.written(True)
            due = 0
    assert wished > 100
    assert law.machine.state == STATES.index("ON_OIL")


@pytest.mark.parametrize("scene", [on_oil, oil_left])
def test_bench_and_test_of_outputs_are_refused_with_oil_about(scene: object) -> None:
    desk = scene()  # pyright: ignore[reportCallIssue]
    before = desk.pins
    assert change(desk, "bench on")[-1].startswith("error bench: ")
    change(desk, warm_bench(80.0))
    assert desk.pins == before
    assert desk.driving is desk.law


def test_bench_and_self_test_exclude_each_other() -> None:
    desk = parked()
    desk.service.busy = True
    assert change(desk, "bench on") == ["error bench: an output is being tested"]
    desk.service.busy = False
    change(desk, "bench on")
    assert change(desk, "test red") == ["error test: bench input is on"]


# a host that does not read


def test_host_that_does_not_read_costs_nothing_and_loses_no_answer() -> None:
    desk = on_oil()
    desk.room = 0
    desk.link.take(b"watch 1\nget\n" + b"echo 1\n" * 40)
    desk.link.poll(8)  # the watch is on
    desk.run(60)
    waiting = desk.link._out, desk.link._watched, desk.link._input.lines
    assert sum(len(each) for each in waiting) < 10
    assert desk.heard == b""
    desk.room = 512
    desk.run(4)
    lines = desk.lines()
    assert [line for line in lines if line.startswith(("ok", "atch"))][:3] == ["ok get", "ok echo 1", "ok echo 1"]
    raws = [line for line in lines if line.startswith("raw")]
    assert int(unstamped(raws[-1]).split("lost=")[1]) >= 590  # pyright: ignore[reportOptionalMemberAccess]
    assert "link: 38 lines came too fast, " in " ".join(desk.say("status\n"))


@pytest.mark.parametrize("room", [1, 7, 64, 300])
def test_rows_of_telemetry_stay_whole_and_questions_are_answered_however_little_room_there_is(room: int) -> None:
    desk = on_oil()
    desk.room = 512
    desk.say(b"watch 1\n")
    desk.room = room
    desk.lines()
    for number in range(8):
        desk.link.take(f"echo {number}\n".encode())
        desk.run(60 if room < 64 else 3)
    desk.link.commands.every_ticks = 0
    desk.room = 512
    lines = desk.say(b"")
    assert [line for line in lines if line.startswith("ok")] == [f"ok echo {number}" for number in range(8)]
    rows = [unstamped(line) for line in lines if not line.startswith("ok")]
    assert None not in rows
    assert len(rows) >= 2
    for tick, raw in zip(rows[::2], rows[1::2], strict=False):
        telemetry(tick or "", raw or "")


def test_telemetry_says_what_the_law_does() -> None:
    desk = on_oil()
    lines = desk.say(b"watch 1\n")
    desk.tick()
    lines += desk.lines()
    row = telemetry(unstamped(lines[-2]) or "", unstamped(lines[-1]) or "")
    law = desk.law
    assert row.state == desk.rig.state == "ON_OIL"
    assert (row.out["supply"], row.out["return"], row.out["power"]) == (1, 1, 1)
    assert (row.message, row.blocked, row.fill_ul) == (
        law.panel.message,
        law.interlocks.blocked,
        law.machine.lines.fill_ul,
    )
    assert list(row.counts) == desk.rig.counts
    assert list(row.levels) == desk.rig.levels
    assert row.tick_ms == desk.rig.now_ms


def test_longest_telemetry_fits_a_line() -> None:
    rig = Rig(path_ul=3_000_000, purge_factor_permille=6000, oil_tank_ml=400_000)
    law = rig.law
    law.interlocks.blocked = law.interlocks.forced = 2**25 - 1
    law.machine.state = STATES.index("ON_DIESEL")
    law.panel.message = max(ENGLISH)
    law.machine.move_reason = 40
    law.machine.lines.fill_ul = law.machine.lines.fill_target_ul
    law.machine.lines.credit_ul = law.machine.lines.purge_target_ul
    assert law.machine.lines.credit_ul == 18_000_000
    assert 110 < len(tick_line(2**30 - 1, law)) <= 120


# in step


@given(st.lists(st.binary(max_size=300), max_size=6))
@settings(deadline=None, max_examples=150)
@example([b"journal\n", b"journal\n"])
@example([b"\xff\x00" * 200])
@example([b"bench on *2CBD\r"])
@example([b"get\r\n\r"])
def test_link_is_in_step_after_any_bytes(chunks: list[bytes]) -> None:
    desk = parked()
    for chunk in chunks:
        desk.say(chunk)
    lines = desk.say(b"\nwatch 0\necho here\n")
    assert [line for line in lines if line.startswith("ok")][-1] == "ok echo here"
    assert lines[-1] == "ok echo here"
    assert desk.say(b"") == []


LINE = st.one_of(
    st.sampled_from([row[NAME] for row in TABLE]),
    st.sampled_from(["help", "get", "get path_ul", "faults", "status", "journal 1", "version", "bench off", "watch 2"]),
    TEXT,
    st.builds(lambda row, value: stamped(f"set {row[0]} {value}"), st.sampled_from(ROWS), st.integers()),
)


@given(st.lists(LINE, max_size=8), st.sampled_from([b"\n", b"\r", b"\r\n"]))
@settings(deadline=None, max_examples=150)
def test_every_line_gets_one_last_line(lines: list[str], end: bytes) -> None:
    desk = parked()
    for line in lines:
        answer = [each for each in desk.say(line.encode() + end) if not each.startswith(("tick ", "raw "))]
        last = [each for each in answer if each.startswith(("ok ", "error "))]
        assert len(last) == (1 if line.strip() else 0)
        assert answer[-1:] == last


def test_empty_line_stops_a_long_answer_and_one_that_has_yet_to_begin() -> None:
    desk = parked()
    desk.room = 64
    desk.link.take(b"get\nget\n\necho on\n")
    desk.run(20)
    last = [line for line in desk.lines() if line.startswith(("ok", "error"))]
    assert last == ["error get: stopped", "error get: stopped", "ok echo on"]


def test_backspace_and_every_line_end_work_as_at_a_terminal() -> None:
    desk = parked()
    assert desk.say(b"ecco\x08\x7fho x\r") == ["ok echo x"]
    assert desk.say(b"echo y\n") == ["ok echo y"]
    assert desk.say(b"\x08\x08echo z\r\n") == ["ok echo z"]


def test_broken_journal_is_an_answer() -> None:
    journal = Journal()
    desk = Desk(journal=journal)
    journal.broken = True
    assert desk.say("journal\n") == ["error journal: flash cannot be read, or memory is short"]


@pytest.mark.parametrize(
    ("value", "unit", "words"),
    [(-5, "cdegc", "-0.05 degC"), (101325, "Pa", "101.325 kPa"), (655, "permille", "65.5 %"), (3, "count", "3 count")],
)
def test_quantities_read_as_people_write_them(value: int, unit: str, words: str) -> None:
    assert quantity(value, unit) == words


# under attack


def test_attack_moves_nothing_fills_nothing_and_never_silences_the_link() -> None:
    """`LINK_LINES=1000000` is the deep run."""
    siege = Siege(LINES)
    siege.play(LINES)
    print(json.dumps(siege.seen, indent=1))
    seen = siege.seen
    assert seen["found its place"] >= LINES // 200
    assert seen["lines taken"] > LINES // 3
    for what in ("bench granted", "bench lines", "bench ticks with a valve on", "ok", "error", "tick", *STATES):
        assert seen[what] > 0, what
