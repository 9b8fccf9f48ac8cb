"""The page in a real browser: a fault and a check from beginning to end, by keys where there are keys, at every width and in the dark."""

from __future__ import annotations

import html
import json
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.bench_page.pictures import Window, to_oil
from tests.bench_page.serving import chromium, serving
from tests.needs import command, require

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Window, str, Path]]:
    pytest.importorskip("selenium")
    require(command("chromium") and command("chromedriver"), "Chromium with its driver")
    records = tmp_path_factory.mktemp("records")
    with serving(records, "--virtual") as (_, address):
        browser = chromium(tmp_path_factory.mktemp("profile"))
        try:
            yield Window(browser, address), address, records
        finally:
            browser.quit()


def path_of_dots(window: Window) -> str:
    return window.browser.find_element("css selector", ".glass path").get_attribute("d")


def test_a_fault_by_keys_and_what_the_page_makes_of_it(page: tuple[Window, str, Path], tmp_path: Path) -> None:
    window, address, _ = page
    to_oil(window)
    on_oil = path_of_dots(window)
    assert on_oil.count("M") > 100
    slider = window.browser.find_element("css selector", '[aria-label="oil at the filter"] [tabindex]')
    before = window.text(".senses")
    slider.send_keys("\ue012")  # arrow left: half a degree
    window.until(lambda: "81.50 degC" in window.text(".senses"))
    assert "82.00 degC" in before
    window.browser.execute_script("document.activeElement.blur()")
    window.press("1")
    window.until(lambda: "PURGING" in window.text("header"))
    window.until(lambda: "coolant sensor not trusted, open" in window.text(".thinks"))
    window.until(lambda: "found out after" in window.text(".faults"))
    assert path_of_dots(window) != on_oil
    assert "amber: blinks slow" in window.text(".lamps")
    for width, dark in ((1400, False), (1400, True), (760, False), (400, False), (400, True), (320, False)):
        window.resize(width, 1000, dark)
        for key in "bcks":
            window.press(key)
            window.picture(tmp_path / f"{key}_{width}_{dark}.png")
            there, taken = window.wide()
            assert taken <= there, (key, width)
    window.resize(1400, 1060)
    (tmp_path / "mine.toml").write_text("[settings]\noil_entry_cdegc = 7450\n", encoding="utf-8")
    window.press("s")
    window.until(lambda: "as on the board" in window.text("main"))
    window.browser.find_elements("css selector", "input[type=file]")[1].send_keys(str(tmp_path / "mine.toml"))
    window.until(lambda: "Beside mine.toml:" in window.text("main"))
    assert "oil_entry_cdegc 7300 7450" in window.text("main")
    window.press("b")
    window.press("f")
    # the key goes to the program and comes back as the focus
    window.until(lambda: window.browser.switch_to.active_element.get_attribute("aria-label") == "Search the catalogue")
    focused = window.browser.switch_to.active_element
    focused.send_keys("1")
    assert "coolant-open" in window.text(".faults")  # a figure typed into the search is no key
    focused.send_keys("\ue003")
    window.browser.execute_script("document.activeElement.blur()")
    window.press("h")
    window.until(lambda: "Nothing is broken." in window.text(".faults"))
    window.press("\ue00c")
    window.until(lambda: "by its own sensors" in window.text("header"))
    assert window.browser.get_log("browser") == []
    loaded = window.browser.execute_script("return performance.getEntriesByType('resource').map(each => each.name)")
    assert len(loaded) > 5
    assert [name for name in loaded if not name.startswith(address)] == []


def test_a_check_from_beginning_to_the_printed_record(page: tuple[Window, str, Path]) -> None:
    window, address, records = page
    window.press("c")
    window.click("To diesel when the selector is turned to DIESEL")
    assert "hands out of the engine bay" in window.text(".now")
    window.click("Begin the check")
    window.until(lambda: "1 of 61 passed" in window.text("main"), 60.0)
    window.click("Next check")
    assert "To diesel when the key is turned off" in window.text(".now")
    kept = json.loads(next(records.glob("*.json")).read_text(encoding="utf-8"))["results"][0]
    assert kept["check"] == "emergency-selector"
    assert kept["passed"]
    with urllib.request.urlopen(f"{address}records/record.html", timeout=5.0) as answer:
        assert kept["measured"] in html.unescape(answer.read().decode())
    assert window.browser.get_log("browser") == []


def test_another_name_for_this_machine_is_no_way_in(page: tuple[Window, str, Path]) -> None:
    asked: Any = urllib.request.Request(page[1], headers={"Host": "elsewhere.example"})
    with pytest.raises(urllib.error.HTTPError, match="400"):
        urllib.request.urlopen(asked, timeout=5.0)
