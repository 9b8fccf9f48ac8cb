"""What the report says, read without a browser."""

import html
import json
import math
import re
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import plotly.graph_objects as go
import pytest
from plotly.offline import get_plotlyjs

from host_sim.errors import InputError
from secondtank.report import render, write_report
from secondtank.report_data import DriveRecord

MakeDrive = Callable[[], DriveRecord]


def own_part(page: str) -> str:
    """The page without the plotting library's script."""
    assert get_plotlyjs() in page
    return page.replace(get_plotlyjs(), "")


def words(page: str) -> str:
    """What a reader sees: text without scripts, styles and tags."""
    body = re.sub(r"<(script|style)\b.*?</\1>", " ", own_part(page), flags=re.S)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", body.replace("<wbr>", ""))).split())


def data_of(page: str) -> dict[str, Any]:
    found = re.search(r'<script type="application/json" id="drive-data">(.*?)</script>', page, flags=re.S)
    assert found
    return json.loads(found.group(1))


def verdict_of(page: str) -> str:
    found = re.search(r'<p class="verdict.*?</p>', page, flags=re.S)
    assert found
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", found.group(0))).split())


def test_the_verdict_stands_first_with_the_numbers_a_driver_asks_for(make_drive: MakeDrive) -> None:
    page = render(make_drive())
    said = verdict_of(page)
    for part in (
        "Hazard H1",
        "H2 after a true warning",
        "32 min on oil",
        "94 %",
        "1.23 L diesel",
        "2.35 L oil",
        "not finished",
    ):
        assert part in said
    assert page.index('class="verdict') < page.index("<h2") < page.index('class="plot"')


def test_no_hazard_and_a_finished_purge_are_said(make_drive: MakeDrive) -> None:
    drive = make_drive()
    drive.summary.update(verdict="no hazard", hazards=[], oil_in_lines=False)
    page = render(drive)
    assert "No hazard: 32 min on oil (94 % of the ideal)" in verdict_of(page)
    assert "purge finished" in verdict_of(page)
    assert "No hazard passed its limit." in words(page)


def test_a_run_that_is_not_valid_says_why_and_claims_nothing(make_drive: MakeDrive) -> None:
    drive = make_drive()
    drive.summary.update(verdict="not valid", hazards=[], notes=["the log has a gap of 40 s at 0:10:00"])
    page = render(drive)
    assert "Not valid for the question: the log has a gap of 40 s at 0:10:00." in verdict_of(page)
    assert "on oil" not in verdict_of(page)
    assert "No hazard" not in words(page)
    assert "Not judged" in words(page)


@pytest.mark.parametrize("verdict", [None, "fine", ""])
def test_a_verdict_that_is_missing_or_unknown_counts_as_not_valid(make_drive: MakeDrive, verdict: str | None) -> None:
    drive = make_drive()
    drive.summary.update(verdict=verdict, notes=[])
    assert "Not valid for the question: the record gives no reason." in verdict_of(render(drive))


def test_an_interrupted_run_is_called_partial(make_drive: MakeDrive) -> None:
    drive = make_drive()
    assert "Partial" not in verdict_of(render(drive))
    drive.summary["interrupted"] = True
    assert "Partial (interrupted)" in verdict_of(render(drive))


def test_every_number_that_decided_and_every_hazard_value_appears(make_drive: MakeDrive) -> None:
    drive = make_drive()
    said = words(render(drive))
    for row in drive.summary["transitions"]:
        assert f"{row['from']} → {row['to']}" in said
        assert row["reason"] in said
        for value in row["numbers"].values():
            assert value.replace(" degC", " °C") in said
    for part in ("21.4 mm²/s", "20 mm²/s", "44 mm²/s", "0:16:59.5", "yes, counted apart", "9.2 V", "0:10:40.0"):
        assert part in said


def test_events_and_changes_of_state_stand_in_one_order_of_time(make_drive: MakeDrive) -> None:
    page = render(make_drive())
    table = page[page.index('id="h-events"') : page.index('id="h-hazards"')]
    times = [float(t) for t in re.findall(r'data-at="([\d.]+)"', table)]
    assert len(times) == 12
    assert times == sorted(times)


def test_the_fold_holds_seed_hashes_balances_settings_and_whatever_else_there_is(make_drive: MakeDrive) -> None:
    drive = make_drive()
    drive.summary["coolant_error_c"] = {"median": 1.25, "p95": 4.5}
    said = words(render(drive))
    for part in ("0123456789abcdef", "fedcba9876543210", "1234567", "0.1.0", "3.1e-13", "2.2e-08"):
        assert part in said
    assert "oil_entry_cdegc 7000 70.00 °C" in said
    assert "suction_block_pa 22000 22.00 kPa" in said
    assert "purge_factor_percent 300" in said
    assert "coolant error c median 1.25; p95 4.5" in said


def test_text_from_outside_is_never_markup(make_drive: MakeDrive) -> None:
    drive = make_drive()
    hostile = "</script><script>alert(1)</script><img src=x onerror=alert(2)>&\"'"
    drive.summary["title"] = hostile
    drive.summary["notes"] = [hostile]
    drive.summary["seed"] = hostile
    drive.summary["transitions"][1].update(
        {"reason": hostile, "text": hostile, "from": hostile, "numbers": {hostile: hostile}}
    )
    drive.summary["hazards"][0].update(name=hostile, unit=hostile, id=hostile)
    drive.settings[hostile] = 1
    drive.strips["messages"].append((1.0, 2.0, hostile, 2, hostile))
    drive.events.append({"time_s": 1.0, "kind": hostile, "text": hostile, "reason": hostile, "numbers": {}})
    page = render(drive)
    own = own_part(page)
    assert "<img" not in own
    assert "<script>alert" not in own
    # The data, the library and the page's own script: nothing that came from outside opened another.
    assert len(re.findall(r"<script\b", own)) == 3
    assert hostile in words(page)
    hover = [
        text for figure in data_of(page)["figures"] for trace in figure["traces"] for text in trace.get("hovertext", [])
    ]
    assert any("&lt;img" in text for text in hover)
    assert not any("<img" in text or "<script" in text for text in hover)


class _Fetches(HTMLParser):
    """Collects every attribute that could make a browser fetch something."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, str, str | None]] = []
        self.policy = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found += [
            (tag, name, value) for name, value in attrs if name in {"src", "href", "srcset", "data", "action"}
        ]
        named = dict(attrs)
        if tag == "meta" and named.get("http-equiv") == "Content-Security-Policy":
            self.policy = named.get("content") or ""


def test_the_file_fetches_nothing_and_tells_the_browser_so(make_drive: MakeDrive) -> None:
    page = own_part(render(make_drive()))
    parser = _Fetches()
    parser.feed(page)
    assert parser.found == []
    assert parser.policy.startswith("default-src 'none';")
    assert "http:" not in parser.policy
    assert "https:" not in parser.policy
    assert not re.search(r"https?://|@import|url\(|\bfetch\(|XMLHttpRequest", page)


def test_missing_series_are_called_not_in_log(make_drive: MakeDrive) -> None:
    drive = make_drive()
    del drive.series["suction_kpa"], drive.series["suction_read_kpa"], drive.series["ambient_c"]
    drive.series["pump_inlet_c"] = [None] * len(drive.series["t_s"])
    del drive.thresholds["oil_exit_c"], drive.strips["faults"]
    drive.summary["time_on_oil_ideal_s"] = drive.summary["use_share"] = None
    page = render(drive)
    panel = {
        name: page[page.index(f'id="panel-{name}"') :].split("</figure>")[0]
        for name in ("suction", "temperatures", "faults")
    }
    assert "Suction at the filter outlet: not in log." in panel["suction"]
    assert 'class="plot"' not in panel["suction"]
    assert "not in log: fuel at the pump inlet, outside air, oil below this: back to diesel" in panel["temperatures"]
    assert "outside air: not in log" in panel["temperatures"]
    assert "Not in log." in panel["faults"]
    assert "share of the ideal not in log" in verdict_of(page)
    assert "plot-suction" not in [figure["id"] for figure in data_of(page)["figures"]]
    # The step's own time is asked for only where it was measured.
    assert "Time of a controller step" not in page


def test_an_empty_record_is_a_page_that_says_so() -> None:
    page = render(DriveRecord(summary={}))
    assert "Not valid" in verdict_of(page)
    assert data_of(page)["figures"] == []
    assert words(page).count("not in log") > 10


def test_a_strip_without_rows_says_none(make_drive: MakeDrive) -> None:
    drive = make_drive()
    drive.strips["faults"] = []
    page = render(drive)
    assert "None in this drive." in page[page.index('id="panel-faults"') :].split("</figure>")[0]


def test_every_figure_is_one_that_the_plotting_library_accepts(make_drive: MakeDrive) -> None:
    figures = data_of(render(make_drive()))["figures"]
    assert len(figures) == 13
    for figure in figures:
        built = go.Figure(data=figure["traces"])  # raises on an unknown property or a wrong value
        assert len(list(built.data)) == len(figure["traces"]) > 0


def test_spikes_reach_the_page_and_points_are_no_more_than_pixels_can_show(make_drive: MakeDrive) -> None:
    drive = make_drive()
    suction = drive.series["suction_kpa"]
    suction[1500] = 47.3
    figures = {figure["id"]: figure for figure in data_of(render(drive))["figures"]}
    drawn = figures["plot-suction"]["traces"][0]["y"]
    assert 47.3 in drawn
    assert len(drawn) < len(suction)
    assert figures["plot-suction"]["range"][1] > 47.3
    assert max(len(trace["x"]) for figure in figures.values() for trace in figure["traces"]) <= 2402


def test_what_is_no_number_becomes_a_gap_not_broken_data(make_drive: MakeDrive) -> None:
    drive = make_drive()
    drive.series["supply_v"][10] = math.nan
    drive.series["supply_v"][11] = math.inf
    figures = {figure["id"]: figure for figure in data_of(render(drive))["figures"]}
    assert None in figures["plot-power"]["traces"][0]["y"]


def test_the_parked_stretch_is_marked_with_its_true_length(make_drive: MakeDrive) -> None:
    data = data_of(render(make_drive()))
    assert [label for _, _, label in data["breaks"]] == ["// parked 8 h 10 min"]
    assert data["clock"][-1] == 2700 + 29_400 + 1500
    assert data["axis"][-1] < 1.2 * (2700 + 1500)


def test_dash_and_width_tell_the_lines_of_a_panel_apart_without_colour(make_drive: MakeDrive) -> None:
    for figure in data_of(render(make_drive()))["figures"]:
        if figure["kind"] != "lines":
            continue
        labelled = [trace["line"] for trace, at_end in zip(figure["traces"], figure["at_end"], strict=True) if at_end]
        looks = [(line["dash"], line["width"]) for line in labelled]
        assert len(set(looks)) == len(looks), figure["id"]


def test_the_page_names_its_language_headings_and_figures(make_drive: MakeDrive) -> None:
    page = own_part(render(make_drive()))
    assert page.startswith('<!DOCTYPE html>\n<html lang="en">')
    assert page.count("<h1") == 1
    plots = re.findall(r'<div class="plot"[^>]*>', page)
    assert len(plots) == 13
    assert all('role="img"' in plot and 'aria-label="' in plot for plot in plots)
    assert "coolant at the feed to the tank: -10 to 88" in page
    assert page.count("<caption>") == 4
    assert 'scope="col"' in page
    assert 'scope="row"' in page


def test_the_cautions_stand_at_the_foot(make_drive: MakeDrive) -> None:
    footer = render(make_drive()).split("<footer>")[1].split("</footer>")[0]
    for part in ("proves nothing about your car", "licensed", "local codes", "closed space"):
        assert part in " ".join(footer.split())


def test_the_file_is_written_whole_and_leaves_no_part_behind(make_drive: MakeDrive, tmp_path: Path) -> None:
    path = tmp_path / "report.html"
    write_report(path, make_drive())
    assert path.read_text(encoding="utf-8") == render(make_drive())
    assert list(tmp_path.iterdir()) == [path]


def test_a_folder_that_is_not_there_gives_one_clear_error(make_drive: MakeDrive, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"missing.report\.html.*wanted a file in a folder that can be written"):
        write_report(tmp_path / "missing" / "report.html", make_drive())


def test_series_of_different_length_are_refused_by_name(make_drive: MakeDrive) -> None:
    drive = make_drive()
    drive.series["coolant_c"].pop()
    with pytest.raises(InputError, match="series coolant_c"):
        render(drive)


def test_time_running_backwards_is_refused_with_its_place(make_drive: MakeDrive) -> None:
    drive = make_drive()
    drive.series["t_s"][7] = 3.0
    with pytest.raises(InputError, match="series t_s, sample 7"):
        render(drive)
