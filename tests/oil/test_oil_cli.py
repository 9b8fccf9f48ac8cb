"""`secondtank oil`, `oil batch` and `oil tank` as typed: answers, files, refusals."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest

from host_sim.fluids import D341
from host_sim.profile import load_profile
from tests.cli.conftest import Command

TWO_POINTS = ("oil", "--point", "40=36.2", "--point", "100=8.1")
TWO_CUPS = (
    "oil",
    "--cup",
    "iso4",
    "--seconds",
    "57,57.6,56.8",
    "--at",
    "21.5",
    "--cup",
    "iso3",
    "--seconds",
    "57,56,57",
    "--at",
    58,
)


def test_two_points_answer_in_json(secondtank: Command, tmp_path: Path) -> None:
    answer = secondtank(*TWO_POINTS, "--json", "--out", tmp_path)
    assert (answer.status, answer.err) == (0, "")
    found = json.loads(answer.out)
    line = D341.from_points(40, 36.2, 100, 8.1)
    for degc, nu in found["viscosity_mm2_s"].items():
        assert nu == pytest.approx(line.nu(float(degc)), rel=0.003)
        thin, thick = found["band"][degc]
        assert thin < nu < thick
    assert found["restart_degc"] < found["oil_limit_degc"] < found["exit_degc"] < found["changeover_degc"]
    low, likely, high = found["limit_band_degc"]
    assert low < likely < high <= found["oil_limit_degc"] < high + 0.2
    assert likely == pytest.approx(line.t_at(20.0), abs=0.1)
    assert json.loads((tmp_path / "oil.json").read_text(encoding="utf-8")) == found


def test_cup_readings_in_words_on_a_page_and_as_a_picture(secondtank: Command, tmp_path: Path) -> None:
    answer = secondtank(*TWO_CUPS, "--out", tmp_path)
    assert answer.status == 0, answer.err
    assert "Change over at 76" in answer.out
    assert "cup iso3, 57, 56, 57 s at 58.0 degC" in answer.out
    page = (tmp_path / "oil.html").read_text(encoding="utf-8")
    svg = (tmp_path / "oil.svg").read_text(encoding="utf-8")
    assert svg in page
    assert svg.count("<circle") == 2
    assert "://" not in page.replace("http://www.w3.org/2000/svg", "")
    for caution in ("Hot oil burns", "flash point", "local law"):
        assert caution in page


def test_a_single_cup_may_repeat_its_seconds(secondtank: Command, tmp_path: Path) -> None:
    apart = secondtank(
        "oil", "--cup", "iso4", "--seconds", 57, "--seconds", 57.6, "--at", 21.5, "--json", "--out", tmp_path
    )
    together = secondtank("oil", "--cup", "iso4", "--seconds", "57,57.6", "--at", 21.5, "--json", "--out", tmp_path)
    assert apart.out == together.out
    assert "2 run(s)" in apart.out


def test_used_oil_is_thicker_than_fresh_and_a_reading_helps(secondtank: Command, tmp_path: Path) -> None:
    def changeover(*more: object) -> float:
        return json.loads(secondtank("oil", *more, "--json", "--out", tmp_path).out)["changeover_degc"]

    used, fresh = changeover("--family", "rapeseed"), changeover("--family", "rapeseed", "--fresh")
    assert used > fresh + 5.0
    assert changeover("--point", "50=27") < used - 5.0
    assert changeover("--point", "50=27", "--limit", 15) > changeover("--point", "50=27") + 5.0
    assert changeover("--point", "50=27", "--blend", "diesel=10") < changeover("--point", "50=27") - 4.0


def test_settings_are_written_with_their_comments_kept(secondtank: Command, tmp_path: Path) -> None:
    mine = tmp_path / "my_car.toml"
    mine.write_text(
        'title = "Mine"\n# from the jar\n[settings]\nline_drop_cdegc = 800 # cold bay\nntc_check_recorded = 1\noil_entry_cdegc = 7400\n',
        encoding="utf-8",
    )
    answer = secondtank(*TWO_POINTS, "--write", mine, "--out", tmp_path / "out")
    assert answer.status == 0, answer.err
    text = mine.read_text(encoding="utf-8")
    assert "# from the jar" in text
    assert "line_drop_cdegc = 800 # cold bay" in text
    values = load_profile(mine)
    assert values["oil_exit_cdegc"] == values["oil_limit_cdegc"] + 200
    assert values["oil_entry_cdegc"] == values["oil_limit_cdegc"] + 200 + 800
    assert "settings: oil_limit_cdegc = 6280, was 6300" in answer.out
    new = tmp_path / "new.toml"
    secondtank(*TWO_POINTS, "--write", new, "--out", tmp_path / "out")
    assert set(tomllib.loads(new.read_text(encoding="utf-8"))) == {"title", "about", "settings"}
    load_profile(new)


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        (("--blend", "petrol=5"), 2, "flash point below -40"),
        (("--blend", "kerosene=5"), 2, "flash point from 38"),
        (("--blend", "diesel=60"), 2, "0 to 50 by volume"),
        (("--blend", "diesel=nan"), 2, "0 to 50 by volume"),
        (("--point", "40:36"), 2, "DEGC=MM2_S"),
        (("--point", "40=0"), 2, "2.5 to 3000 mm2/s"),
        (("--cup", "iso4", "--seconds", "57"), 2, "one --at for each --cup"),
        (("--cup", "iso4", "--seconds", "a", "--at", "20"), 2, "numbers with commas"),
        (("--cup", "iso4", "--seconds", "20", "--at", "20"), 2, "fits iso3"),
        (("--family", "olive"), 2, "one of rapeseed"),
        (("--limit", "40"), 2, "8 to 25 mm2/s"),
        (("--point", "40=36", "--point", "100=5"), 4, "36.0 at 40 against 5.0 at 100"),
        (("--point", "40=90"), 4, "blend it with diesel"),
    ],
)
def test_what_cannot_be_answered_is_one_message_and_nothing_written(
    secondtank: Command, tmp_path: Path, arguments: tuple[str, ...], status: int, said: str
) -> None:
    answer = secondtank("oil", *arguments, "--write", tmp_path / "my.toml", "--out", tmp_path / "out")
    assert (answer.status, answer.out) == (status, "")
    assert said in answer.err
    assert answer.err.count("\n") == 1
    assert not (tmp_path / "my.toml").exists()
    assert not (tmp_path / "out").exists()


def test_a_batch_is_recorded_judged_labelled_and_followed_into_the_tank(secondtank: Command, tmp_path: Path) -> None:
    files = ("--record", tmp_path / "record.toml", "--out", tmp_path / "out")
    answer = secondtank(
        "oil", "batch", "canteen <7>", "--origin", "school & canteen", "--litres", 20, "--settled", 14, "--filter", "200,50,10",
        "--sample", 500, "--heated", 499.9, "--scale", 0.1, "--sediment", 0, "--point", "40=38", "--on", "2026-11-02", *files,
    )  # fmt: skip
    assert answer.status == 0, answer.err
    assert answer.out.startswith("canteen <7>: accepted\n")
    assert "tell 0.04 % of water from none" in answer.out
    assert "outdoors" in answer.out
    label = (tmp_path / "out" / "label.html").read_text(encoding="utf-8")
    for words in (
        "canteen &lt;7&gt;",
        "school &amp; canteen",
        "2026-11-02",
        "200, 50, 10",
        "Accepted",
        "no water on fire",
    ):
        assert words in label
    again = secondtank("oil", "batch", "canteen <7>", "--json", *files)
    assert json.loads(again.out)["accepted"] == "accepted"

    poor = secondtank("oil", "batch", "chip shop", "--origin", "chip shop", "--litres", 30, "--settled", 3, *files)
    assert "not accepted" in poor.out
    secondtank("oil", "tank", "--fill", "canteen <7>=20", *files)
    secondtank("oil", "tank", "--fill", "chip shop=10", *files)
    found = json.loads(secondtank("oil", "tank", "--diesel", 1.5, "--json", *files).out)
    assert found["evidence"] == ["63.5 % canteen <7>", "31.7 % chip shop", "4.8 % diesel"]
    assert "chip shop is in it: not accepted" in found["notes"]
    left = json.loads(secondtank("oil", "tank", "--left", 10, "--json", *files).out)
    assert (left["title"], left["viscosity_mm2_s"]) == ("The tank: 10.0 L", found["viscosity_mm2_s"])


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("batch", "x"), "--origin and --litres for a new one"),
        (("batch", "x", "--origin", "y1", "--litres", "-3"), "greater than 0"),
        (("batch", "x", "--origin", "y1", "--litres", "3", "--sample", "500"), "--sample, --heated and --scale together"),
        (("batch", "x", "--origin", "y1", "--litres", "3", "--filter", "10,50"), "from coarse to fine"),
        (("batch", "x", "--origin", "y1", "--litres", "3", "--on", "2.11."), "a day as 2026-11-02"),
        (("batch", "diesel", "--origin", "y1", "--litres", "3"), "a name for oil"),
        (("tank", "--fill", "x=2"), "none yet"),
        (("tank", "--fill", "x"), "NAME=LITRES"),
        (("tank", "--diesel", "1", "--left", "1"), "one at a time"),
        (("tank",), "something in it"),
    ],
)  # fmt: skip
def test_bad_batches_are_refused_and_not_recorded(
    secondtank: Command, tmp_path: Path, arguments: tuple[str, ...], said: str
) -> None:
    answer = secondtank("oil", *arguments, "--record", tmp_path / "record.toml", "--out", tmp_path / "out")
    assert (answer.status, answer.out) == (2, "")
    assert said in answer.err
    assert not (tmp_path / "record.toml").exists()
