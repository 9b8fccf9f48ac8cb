"""What a person sees and does on the page, without a browser: the board is the one in this process, the time the machine's."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from pathlib import Path

import pytest
from nicegui import ui
from nicegui.testing import User, user_simulation

from changeover.inputs import BUTTON, KEY
from changeover.settings import defaults
from secondtank.bench import calibrate_parts, words
from secondtank.bench.page import Bench, Page
from secondtank.bench.session import Session
from secondtank.bench.view import LOST
from secondtank.bench.virtual import VirtualBoard
from tests.bench_page.rig import bench_of, desk, state, told


class Desk:
    """A user in front of the page, and what lies behind it."""

    def __init__(self, user: User, board: VirtualBoard, session: Session, bench: Bench) -> None:
        self.user, self.board, self.session, self.bench = user, board, session, bench

    async def until(self, ready: Callable[[], object], within_s: float = 15.0) -> None:
        """Let the page live until `ready`."""
        for _ in range(round(within_s / 0.05)):
            if ready():
                return
            await asyncio.sleep(0.05)
        raise AssertionError(f"it does not come; {told(self.session)}")

    async def sees(self, text: str, within_s: float = 10.0) -> None:
        await self.user.should_see(text, retries=round(within_s / 0.1))

    async def press(self, key: str) -> None:
        """A key, outside any field."""
        event = {"action": "keydown", "repeat": False, "key": key, "code": "", "location": 0}
        event |= dict.fromkeys(("ctrlKey", "altKey", "metaKey", "shiftKey"), False)
        self.user.find(ui.keyboard).trigger("key", event)
        await asyncio.sleep(0.1)

    async def begin(self) -> None:
        """Bench input by its key."""
        await self.press("i")
        await self.sees("by BENCH INPUT")


def page_test(story: Callable[[Desk], Awaitable[None]], folder: Path, **changes: int) -> None:
    """Play a story on a page of its own."""

    async def play() -> None:
        with desk(**changes) as (board, session):
            bench = bench_of(session, folder)
            async with user_simulation(lambda: Page(bench) and None) as user:
                await user.open("/")
                await story(Desk(user, board, session, bench))

    asyncio.run(play())


def test_senses_thinks_drives_and_a_fault_by_one_key(tmp_path: Path) -> None:
    async def story(desk: Desk) -> None:
        await desk.sees("PARKED")
        await desk.sees("Key off: nothing is asked")
        await desk.press("1")
        assert desk.session.stand.broken == {}
        await desk.begin()
        await desk.sees("BENCH INPUT")
        desk.user.find("Warm, READY").click()
        await desk.until(lambda: state(desk.session) == "ON_OIL", 25)
        await desk.sees("On oil, and nothing ends it")
        await desk.sees("82.00 degC")
        await desk.sees(words.picture(desk.session.view.picture, words.message(desk.session.view.row)))
        await desk.press("1")
        await desk.until(lambda: state(desk.session) == "PURGING", 5)
        await desk.sees("coolant sensor not trusted, open")
        await desk.sees("found out after")
        await desk.sees("Oil is not allowed")
        await desk.press("h")
        await desk.until(lambda: desk.session.stand.broken == {})
        await desk.press("Escape")
        await desk.sees("bench input ended, all outputs on diesel: ended by hand")
        assert desk.board.app.link.bench.law is None

    page_test(story, tmp_path)


def test_waiting_is_told_in_seconds_and_the_catalogue_is_searched(tmp_path: Path) -> None:
    async def story(desk: Desk) -> None:
        await desk.begin()
        desk.user.find("Start the engine").click()
        await desk.until(lambda: "waits" in words.reasons(desk.session.view))
        await desk.sees("engine not running")
        await desk.sees("against 73.00 degC")
        desk.user.find("Search the catalogue").type("air leak")
        await desk.sees("air-leak-small")
        await desk.user.should_not_see("coolant-open")
        desk.user.find("Search the catalogue").clear()
        desk.user.find("Search the catalogue").type("no such thing")
        await desk.sees("The catalogue has no such fault.")

    page_test(story, tmp_path)


def test_second_page_sees_who_holds_the_bench_and_a_closed_page_ends_it(tmp_path: Path) -> None:
    async def story(desk: Desk) -> None:
        await desk.begin()
        first = desk.session.view.owner
        second = User(desk.user.http_client)
        await second.open("/")
        await second.should_see("by BENCH INPUT of another page", retries=30)
        second.find("Take bench input over").click()
        await desk.until(lambda: desk.session.view.owner not in ("", first))
        await desk.sees("by BENCH INPUT of another page")
        assert "another page takes over" in " ".join(told(desk.session))
        assert second.client is not None
        second.client.delete()
        for handler in second.client.disconnect_handlers:
            await handler() if asyncio.iscoroutinefunction(handler) else handler()
        await desk.until(lambda: desk.session.view.owner == "")
        assert "its page is gone" in told(desk.session)[-1]

    page_test(story, tmp_path)


def test_lost_cable_is_seen_and_nothing_can_be_begun(tmp_path: Path) -> None:
    async def story(desk: Desk) -> None:
        await desk.sees("connected: a board in this program")
        desk.board.cable(False)
        await desk.until(lambda: desk.session.view.link == LOST)
        await desk.sees("no board: the cable is out")
        await desk.sees("No board: valves without current stand on diesel.")
        await desk.press("i")
        assert desk.session.view.owner == ""
        desk.board.cable(True)
        await desk.sees("connected: a board in this program")

    page_test(story, tmp_path)


def test_wrong_setting_is_told_in_the_validator_s_words_and_a_right_one_is_saved_and_read_back(tmp_path: Path) -> None:
    async def story(desk: Desk) -> None:
        desk.user.find("Settings").click()
        field = next(iter(desk.user.find(marker="oil_entry_cdegc").elements))
        assert isinstance(field, ui.number)
        field.value = 6600
        await desk.sees("an exit floor so near the entry would chatter")
        await desk.sees("wrong: nothing can be saved")
        field.value = 7390.5
        await desk.sees("should be a whole number from 4000 to 9500")
        field.value = 7400
        await desk.sees("1 changed, not saved")
        desk.user.find("Save to the board").click()
        await desk.sees("1 saved and read back; in force when the board starts next")
        await desk.sees("1 saved for the board's next start: switch its feed off and on")
        assert desk.session.view.saved == {"oil_entry_cdegc": 7400}
        desk.board.restart()
        await desk.until(lambda: desk.session.view.values["oil_entry_cdegc"] == 7400)
        assert desk.board.app.values["oil_entry_cdegc"] == 7400
        await desk.sees("as on the board, settings")
        desk.user.find("Take defaults").click()
        await desk.sees(
            f"{sum(value != defaults()[name] for name, value in desk.session.view.values.items())} changed, not saved"
        )
        desk.user.find("Undo all").click()
        await desk.sees("as on the board, settings")

    page_test(story, tmp_path)


def test_calibration_shows_before_and_after_writes_and_keeps_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(calibrate_parts, "MEASURE_S", 1.5)

    async def story(desk: Desk) -> None:
        desk.user.find("Calibrate").click()
        desk.user.find(marker="compute flow").click()
        await desk.sees("wanted two or more")
        for label, ml in (("Jar 1, mL", 480), ("Jar 2, mL", 486)):
            next(iter(desk.user.find(label).elements)).value = ml  # pyright: ignore[reportAttributeAccessIssue]
        desk.user.find(marker="compute flow").click()
        await desk.sees("8050 uL/s")
        desk.user.find(marker="write flow").click()
        await desk.until(lambda: desk.session.view.saved.get("flow_measured_ul_s") == 8050)
        await desk.until(lambda: "calibrate flow" in desk.bench.book.latest)
        assert "'flow_measured_ul_s': 9500" in desk.bench.book.latest["calibrate flow"].note
        desk.user.find(marker="compute suction zero").click()
        await desk.sees("wanted a measurement first")
        desk.user.find(marker="zero").click()
        await desk.sees("measured:", 20)
        desk.user.find(marker="compute suction zero").click()
        await desk.sees("with the hose off")

    page_test(story, tmp_path)


def test_checks_measure_an_emergency_an_input_and_an_unplugged_sensor(tmp_path: Path) -> None:
    async def story(desk: Desk) -> None:
        book = desk.bench.book
        desk.user.find("Checks").click()
        await desk.sees("0 of 61 passed")
        for index, value in {0: 8800, 1: 8200, 2: 6000, 3: 8100, 4: 7000, 7: 14200}.items():
            desk.session.stand.wanted[index] = value
        desk.user.find(marker="plausible-0").click()
        field = next(iter(desk.user.find("True value").elements))
        assert isinstance(field, ui.number)
        field.value = 24.5
        await asyncio.sleep(0.4)
        desk.user.find("Begin the check").click()
        await desk.until(lambda: "plausible-0" in book.latest)
        assert not book.latest["plausible-0"].passed
        assert book.latest["plausible-0"].measured == "20.00 degC beside 24.5 degC: -4.50, allowed 3"
        field.value = 21.0
        await desk.until(lambda: desk.session.watcher.listener is None)
        await asyncio.sleep(0.4)
        desk.user.find("Begin the check").click()
        await desk.until(lambda: book.latest["plausible-0"].passed)
        desk.user.find(marker="emergency-oil-sensor").click()
        desk.user.find("Begin the check").click()
        await desk.until(lambda: "emergency-oil-sensor" in book.latest, 30)
        assert book.latest["emergency-oil-sensor"].passed
        assert "without current" in book.latest["emergency-oil-sensor"].measured
        await desk.until(lambda: desk.session.view.owner == "")
        desk.user.find(marker="input-0").click()
        desk.user.find("Begin the check").click()
        await desk.sees("it is off; 0 of 4 changes")
        for on in (True, False, True, False):
            await desk.until(lambda on=on: desk.session.view.row and desk.session.view.row.levels[KEY] != on)
            desk.board.level(KEY, on)
            await desk.until(lambda on=on: desk.session.view.row and desk.session.view.row.levels[KEY] == on)
        await desk.until(lambda: "input-0" in book.latest)
        desk.board.level(KEY, True)
        desk.user.find(marker="unplugged-1").click()
        desk.user.find("Begin the check").click()
        await desk.sees("pull the plug now")
        desk.board.unplug(1, True)
        await desk.until(lambda: "unplugged-1" in book.latest)
        assert book.latest["unplugged-1"].passed, book.latest["unplugged-1"]
        desk.board.unplug(1, False)
        desk.board.level(KEY, False)
        desk.user.find(marker="output-supply_valve").click()
        desk.user.find("Begin the check").click()
        await desk.sees("press the board's button within 30 s, and look")
        desk.board.level(BUTTON, True)
        await asyncio.sleep(0.4)
        desk.board.level(BUTTON, False)
        await desk.sees("contact on for about")
        desk.user.find("It does: passed").click()
        await desk.sees("5 of 61 passed")
        desk.user.find(marker="rule-1").click()
        await desk.sees("it clicks over, water comes from the diesel side")
        desk.user.find("It does not: failed").click()
        await desk.sees("5 of 61 passed, 1 FAILED")

    page_test(story, tmp_path)


def test_board_that_only_advises_is_told_why_it_cannot_be_checked(tmp_path: Path) -> None:
    async def story(desk: Desk) -> None:
        desk.user.find("Checks").click()
        desk.user.find(marker="emergency-key").click()
        desk.user.find("Begin the check").click()
        await asyncio.sleep(0.3)
        assert any("a board that only advises moves no valve" in str(message) for message in desk.user.notify.messages)
        assert desk.session.view.owner == ""

    page_test(story, tmp_path, authority=0)


@pytest.mark.parametrize(
    ("text", "words_seen"),
    [
        ("[settings]\noil_entry_cdegc = 7600\n", "1 changed, not saved"),
        ("[settings]\noil_entry = 7600\n", "is not a setting"),
        ("oil_entry_cdegc = 7600\n", "a table [settings] of NAME = whole number"),
        ("\x00\xff", "a TOML file"),
    ],
)
def test_settings_file_is_taken_whole_or_refused_in_its_own_name(tmp_path: Path, text: str, words_seen: str) -> None:
    from host_sim.errors import InputError
    from host_sim.profile import load_profile
    from secondtank.bench import settings_edit

    data = text.encode("latin-1")
    if words_seen.startswith("1 changed"):
        found = settings_edit.from_toml("mine.toml", data)
        assert settings_edit.differences(found, defaults()) == [("oil_entry_cdegc", 7600, 7400)]
        path = tmp_path / "exported.toml"
        path.write_text(settings_edit.to_toml(found, "a test"), encoding="utf-8")
        assert load_profile(path) == found
    else:
        with pytest.raises(InputError) as refused:
            settings_edit.from_toml("mine.toml", data)
        assert words_seen in str(refused.value)
        assert str(refused.value).startswith("mine.toml")
