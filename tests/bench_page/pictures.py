"""Walks through the page in Chromium and takes pictures: `python -m tests.bench_page.pictures FOLDER` (docs/bench has three of them)."""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.bench_page.serving import chromium, serving


class Window:
    """One browser window on the page."""

    def __init__(self, browser: Any, address: str) -> None:
        self.browser = browser
        self.resize(1400, 1060)
        browser.get(address)
        self.until(lambda: "connected" in self.text("header"))

    def resize(self, width: int, height: int, dark: bool = False) -> None:
        size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
        self.browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [scheme]})

    def text(self, selector: str) -> str:
        return self.browser.find_element("css selector", selector).text

    def press(self, key: str) -> None:
        from selenium.webdriver import ActionChains

        ActionChains(self.browser).send_keys(key).perform()

    def click(self, name: str) -> None:
        """The shown button of this name, by hand: a tab may be drawn anew meanwhile."""
        from selenium.common.exceptions import WebDriverException

        def clicked() -> bool:
            try:
                for each in self.browser.find_elements("xpath", f'//button[normalize-space(.)="{name}"]'):
                    if each.is_displayed():
                        self.browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", each)
                        each.click()
                        return True
            except WebDriverException:
                pass
            return False

        self.until(clicked, 10.0)

    def until(self, ready: Callable[[], object], within_s: float = 40.0) -> None:
        end_s = time.monotonic() + within_s
        while not ready():
            assert time.monotonic() < end_s, f"it does not come: {self.text('body')[:600]}"
            time.sleep(0.1)

    def picture(self, path: Path) -> None:
        """What is seen, from the top."""
        self.browser.execute_script("scrollTo(0, 0); document.activeElement.blur()")
        time.sleep(1.2)  # the chart draws once a second
        self.browser.save_screenshot(str(path))

    def wide(self) -> tuple[int, int]:
        """(what there is, what the page takes) in dots."""
        there, taken = self.browser.execute_script(
            "const d = document.documentElement; return [d.clientWidth, d.scrollWidth]"
        )
        return there, taken


def to_oil(window: Window) -> None:
    """By the keyboard and one button: bench input, warm, on oil."""
    window.press("i")
    window.until(lambda: "BENCH INPUT" in window.text("header"))
    window.click("Warm, READY")
    window.until(lambda: "ON_OIL" in window.text("header"))


def main(folder: Path) -> None:
    """Light on oil, dark with a fault, a check on a phone."""
    with tempfile.TemporaryDirectory() as scratch, serving(Path(scratch) / "records", "--virtual") as (_, address):
        browser = chromium(Path(scratch) / "profile")
        try:
            window = Window(browser, address)
            to_oil(window)
            time.sleep(20.0)  # something to see on the chart
            window.picture(folder / "on_oil.png")
            window.press("1")
            window.until(lambda: "found out after" in window.text(".faults"))
            time.sleep(6.0)
            window.resize(1400, 1060, dark=True)
            window.picture(folder / "fault_dark.png")
            window.resize(400, 900)
            window.press("h")
            window.press("c")
            window.click("To diesel when the selector is turned to DIESEL")
            window.click("Begin the check")
            window.until(lambda: "Last: passed" in window.text(".now"), 60.0)
            window.picture(folder / "check_phone.png")
        finally:
            browser.quit()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
