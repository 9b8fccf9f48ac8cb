"""The page of the fault grid: each cell says in words what it means, the worst one first; nothing from outside, nothing over the edge."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from changeover.settings import AUTOMATIC, TANK_RETURN
from changeover.states import ON_DIESEL, ON_OIL, STATES
from host_sim.catalogue import BY_ID
from host_sim.grid import Cell, Result
from host_sim.ways import PHASES, Rig
from secondtank.fault_cells import Asked, command
from secondtank.fault_totals import Totals
from secondtank.report.matrix import render

RIG = Rig(TANK_RETURN, AUTOMATIC)
FAULT = "supply-valve-stuck-on-oil"
TOLD_S = BY_ID[FAULT].told_s or 0.0


def _result(fault: str, state: int, phase: int, **more: Any) -> Result:
    return Result(fault, STATES[state], PHASES[phase], "tank_return", "automatic", **more)


def _hazard(name: str) -> dict[str, object]:
    return {"id": name, "value": 2.0, "limit": 1.0, "told": False, "text": "too much <of it>"}


def _totals(**more: Any) -> Totals:
    """One fault: late once on oil, a hazard that may pass on diesel, nothing run elsewhere."""
    late = TOLD_S + 3.0
    return Totals(
        Asked(fault=FAULT, authority="advise" if more.pop("advise", False) else None),
        [
            _result(FAULT, ON_OIL, 0, told_s=0.5, hazard_share=0.5),
            _result(FAULT, ON_OIL, 1, told_s=late, broken=[f"told after {late:g} s & more"], hazard_share=0.25),
            _result(FAULT, ON_DIESEL, 2, told_s=0.5, hazards=[_hazard(BY_ID[FAULT].may_pass[0])]),
        ],
        **more,
    )


def _cells(page: str) -> dict[str, str]:
    return dict(re.findall(r'<td role="cell" data-label="(\w+)" class="[\w-]+">(.*?)</td>', page, re.DOTALL))


def test_each_cell_tells_its_worst_and_how_to_repeat_it() -> None:
    worst = Cell(FAULT, ON_OIL, 1, RIG)
    page = render(_totals(drives={worst: "drives/that"}))
    cells = _cells(page)
    assert set(cells) == set(STATES)
    on_oil = cells["ON_OIL"]
    assert "1 of 2 broken" in on_oil
    assert f"told {TOLD_S + 3.0:g} of {TOLD_S:g} s" in on_oil
    assert "&amp; more" in on_oil
    assert command(worst) in on_oil
    assert 'href="drives/that/report.html"' in on_oil
    on_diesel = cells["ON_DIESEL"]
    assert "held" in on_diesel
    assert f"passed {BY_ID[FAULT].may_pass[0]}" in on_diesel
    assert "&lt;of it&gt;" in on_diesel
    assert "href" not in on_diesel
    assert {state for state, inside in cells.items() if "not run" in inside} == set(STATES) - {"ON_OIL", "ON_DIESEL"}
    assert page.count("href=") == 1


def test_a_state_that_no_rig_enters_is_told_from_one_that_was_not_run() -> None:
    cells = _cells(render(_totals(advise=True)))
    assert {state for state, inside in cells.items() if "cannot be" in inside} == {"FILLING", "RUN_ON"}


def test_the_verdict_comes_first_and_says_what_is_missing() -> None:
    page = render(_totals(ended="interrupted"))
    counts = _totals().counts()
    assert page.index("1 counterexample in 3 cells.") < page.index("<table")
    assert f"Partial (interrupted): {counts['not_run']} cells were not run." in page
    assert "told in time: did not hold in 1 of 3 cells" in page
    held = render(Totals(Asked(fault=FAULT), [_result(FAULT, ON_OIL, 0, told_s=0.5)]))
    assert "No counterexample in 1 cell." in held
    assert "Partial" not in held
    assert '<h2 id="h-counter"' not in held


def test_it_needs_nothing_from_outside() -> None:
    page = render(_totals())
    assert "://" not in page
    assert not re.search(r"<(link|img|iframe)\b|\bsrc=", page)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Every fault in the rows, the few results of `_totals` in the cells."""
    totals = _totals(drives={Cell(FAULT, ON_OIL, 1, RIG): "drives/that"})
    path = tmp_path_factory.mktemp("matrix") / "faults.html"
    path.write_text(render(Totals(Asked(), totals.results, drives=totals.drives)), encoding="utf-8")
    return path


@pytest.mark.browser
@pytest.mark.parametrize("width", [1280, 400])
@pytest.mark.parametrize("dark", [False, True])
def test_nothing_runs_over_the_edge_not_even_an_open_cell(browser: Any, whole: Path, width: int, dark: bool) -> None:
    size = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": False}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [scheme]})
    browser.get(whole.as_uri())
    opened = browser.execute_script(
        """return [...document.querySelectorAll('.matrix details')].map(d => {
            d.open = true;
            const b = d.querySelector('.more').getBoundingClientRect();
            return [b.left, b.right, b.height];
        })"""
    )
    assert len(opened) == 2
    for left, right, height in opened:
        assert 0 <= left < right <= width
        assert height > 50
    client, needed = browser.execute_script("const d = document.documentElement; return [d.clientWidth, d.scrollWidth]")
    assert needed <= client
    assert browser.get_log("browser") == []


@pytest.mark.browser
def test_rows_are_found_by_words_and_by_what_did_not_hold(browser: Any, whole: Path) -> None:
    browser.get(whole.as_uri())
    shown = "return [...document.querySelectorAll('.matrix tbody tr')].filter(r => !r.hidden).map(r => r.dataset.fault)"
    assert browser.execute_script(shown) == list(BY_ID)
    browser.execute_script(
        "const f = document.getElementById('find'); f.value = 'oil OPEN'; f.dispatchEvent(new Event('input'))"
    )
    found = browser.execute_script(shown)
    assert "oil-open" in found
    assert FAULT not in found
    browser.execute_script(
        "const f = document.getElementById('find'); f.value = ''; f.dispatchEvent(new Event('input'))"
    )
    browser.execute_script("document.getElementById('bad').click()")
    assert browser.execute_script(shown) == [FAULT]
    assert browser.execute_script("return document.querySelector('.matrix caption').textContent").startswith("1 of ")
