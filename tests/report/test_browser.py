"""The report in a real browser: drawn, linked, nothing hidden behind an edge, nothing in the console."""

import base64
import re
import shutil
import struct
import subprocess
import sys
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from secondtank.report import write_report

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def report(make_drive: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("report") / "report.html"
    write_report(path, make_drive())
    return path


def open_at(browser: Any, report: Path, width: int, dark: bool = False) -> None:
    from selenium.webdriver.support.ui import WebDriverWait

    size = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": False}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [scheme]})
    browser.get(report.as_uri())
    WebDriverWait(browser, 30).until(
        lambda b: b.execute_script("return document.documentElement.dataset.drawn === 'yes'")
    )


def ranges(browser: Any) -> list[list[float]]:
    return browser.execute_script(
        "return [...document.querySelectorAll('.plot')]"
        ".map(p => p.layout.xaxis.range.map(v => Math.round(v * 10) / 10))"
    )


@pytest.mark.parametrize("width", [1280, 400])
@pytest.mark.parametrize("dark", [False, True])
def test_all_panels_are_drawn_and_nothing_runs_over_the_edge(
    browser: Any, report: Path, width: int, dark: bool
) -> None:
    open_at(browser, report, width, dark)
    inner, client, needed = browser.execute_script(
        "const d = document.documentElement; return [innerWidth, d.clientWidth, d.scrollWidth]"
    )
    assert inner == width
    assert needed <= client
    plots = browser.execute_script(
        """return [...document.querySelectorAll('.plot')].map(p => ({
            id: p.id,
            paths: p.querySelectorAll('.scatterlayer path.js-line, .barlayer path').length,
            width: p.querySelector('.main-svg').getBoundingClientRect().width,
            cut: [...p.querySelectorAll('.annotation text, .xtick text')].filter(t => {
                const a = t.getBoundingClientRect(), b = p.getBoundingClientRect();
                return a.left < b.left - 1 || a.right > b.right + 1 || a.top < b.top - 1 || a.bottom > b.bottom + 1;
            }).map(t => t.textContent)}))"""
    )
    assert len(plots) == 13
    for plot in plots:
        assert plot["paths"] > 0, plot
        assert 0.8 * width < plot["width"] <= width, plot
        assert plot["cut"] == [], plot
    assert browser.get_log("browser") == []


@pytest.mark.parametrize("width", [1280, 400])
def test_labels_at_the_end_of_lines_do_not_cover_one_another(browser: Any, report: Path, width: int) -> None:
    open_at(browser, report, width)
    labels = browser.execute_script(
        """const p = document.getElementById('plot-temperatures'), edge = p._fullLayout.width - p._fullLayout.margin.r;
        return [...p.querySelectorAll('.annotation text')].map(t => t.getBoundingClientRect())
            .filter(b => b.left - p.getBoundingClientRect().left > edge).map(b => [b.top, b.bottom])"""
    )
    assert len(labels) == 8
    labels.sort()
    # Boxes are taller than their letters: a third of a line may overlap before ink meets ink.
    assert all(b[0] - a[1] > -0.34 * (a[1] - a[0]) for a, b in pairwise(labels)), labels


def test_zoom_is_one_for_all_panels_and_an_event_leads_to_its_moment(browser: Any, report: Path) -> None:
    from selenium.webdriver.support.ui import WebDriverWait

    open_at(browser, report, 1280)
    whole = ranges(browser)
    assert len({tuple(r) for r in whole}) == 1
    browser.execute_script("Plotly.relayout('plot-suction', {'xaxis.range[0]': 600, 'xaxis.range[1]': 1200})")
    WebDriverWait(browser, 10).until(lambda b: {tuple(r) for r in ranges(b)} == {(600.0, 1200.0)})
    browser.execute_script("""document.querySelector('[data-zoom="all"]').click()""")
    WebDriverWait(browser, 10).until(lambda b: ranges(b) == whole)
    browser.execute_script("""document.querySelector('#h-events ~ table [data-at="1020.0"]').click()""")
    WebDriverWait(browser, 10).until(lambda b: {tuple(r) for r in ranges(b)} == {(900.0, 1140.0)})
    ticks = browser.execute_script(
        "return [...document.querySelectorAll('#plot-power .xtick text')].map(t => t.textContent)"
    )
    assert "0:17:00" in ticks
    assert browser.get_log("browser") == []


def test_ticks_after_the_break_tell_the_true_clock(browser: Any, report: Path) -> None:
    open_at(browser, report, 1280)
    ticks = browser.execute_script(
        "return [...document.querySelectorAll('#plot-temperatures .xtick text')].map(t => t.textContent)"
    )
    minutes = [60 * int(hours) + int(rest) for hours, rest in (tick.split(":") for tick in ticks)]
    assert minutes == sorted(minutes)
    # Parked from 0:45 to 8:55: no tick inside, ticks on both sides.
    assert [m for m in minutes if 47 < m < 534] == []
    assert min(minutes) < 45
    assert max(minutes) > 535


def test_the_picture_for_the_readme_is_taken(report: Path, tmp_path: Path) -> None:
    if not shutil.which("chromium"):
        pytest.skip("needs chromium on the path")
    picture = tmp_path / "docs" / "demo.png"
    script = Path(__file__).resolve().parents[2] / "tools" / "picture.py"
    done = subprocess.run(
        [sys.executable, script, report, picture], capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr
    head = picture.read_bytes()[:24]
    assert head[:8] == b"\x89PNG\r\n\x1a\n"
    assert struct.unpack(">II", head[16:24]) == (1280, 1240)
    # A page whose panels were not drawn yet compresses to far less.
    assert picture.stat().st_size > 100_000


def test_it_prints_without_controls_on_few_pages(browser: Any, report: Path) -> None:
    open_at(browser, report, 1280)
    printed = base64.b64decode(browser.execute_cdp_cmd("Page.printToPDF", {"printBackground": False})["data"])
    pages = len(re.findall(rb"/Type\s*/Page\b", printed))
    assert 3 <= pages <= 7
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    assert browser.execute_script("return getComputedStyle(document.querySelector('.controls')).display") == "none"
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
