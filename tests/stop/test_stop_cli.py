"""`secondtank stop` as typed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from changeover.stop_advice import standing_min as board_min
from host_sim.profile import load_profile
from tests.cli.conftest import Command

HEAD = "minutes,oil_off_degc,oil_on_degc,ambient_degc,wind_km_h,remark\n"


def test_minutes_a_span_on_the_clock_and_what_the_board_says(secondtank: Command) -> None:
    answer = secondtank("stop", "--oil", 78, "--ambient", 20, "--parked", "23:30", "--json")
    found = json.loads(answer.out)
    assert (answer.status, found["advice"]) == (0, "stand")
    assert abs(found["minutes"] - board_min(7800, 2000, 5600, 6000)) <= 1
    assert found["board_minutes"] == board_min(7800, 2000, 5600, 6000)
    earliest, latest = found["interval_minutes"]
    assert earliest <= found["minutes"] < latest
    assert found["back_by"] == f"00:{found['minutes'] - 30:02d}"
    assert found["span"][0] == f"00:{earliest - 30:02d}"


def test_too_little_to_rely_on_is_a_purge(secondtank: Command) -> None:
    for oil, advice in ((58, "purge"), (50, "purge"), (70, "stand")):
        found = json.loads(secondtank("stop", "--oil", oil, "--ambient", -5, "--json").out)
        assert (found["advice"], found["minutes"] < 10) == (advice, advice == "purge")
    assert secondtank("stop", "--oil", 58).out.startswith("Purge before you stop")


def test_stops_are_learnt_from_and_put_into_the_settings(secondtank: Command, tmp_path: Path) -> None:
    stops, mine = tmp_path / "stops.csv", tmp_path / "my.toml"
    stops.write_text(HEAD + "60,78,52,20,,shop\n45,79,58,-3,10,work\n5,78,77,3,,petrol station\n", encoding="utf-8")
    before = json.loads(secondtank("stop", "--wind", 20, "--stops", stops, "--json").out)
    assert before["stops_learnt_from"] == 2
    assert before["board_minutes"] > before["minutes"] + 1
    said = secondtank("stop", "--wind", 20, "--stops", stops).out
    assert "knows neither this wind nor these stops" in said
    after = json.loads(secondtank("stop", "--wind", 20, "--stops", stops, "--write", mine, "--json").out)
    assert after["minutes"] == before["minutes"]
    assert 0 <= after["minutes"] - after["board_minutes"] <= 1
    assert load_profile(mine)["cooling_time_s"] == after["cooling_time_s"] < 6000


def test_page_shows_the_cooling_and_the_cautions(secondtank: Command, tmp_path: Path) -> None:
    answer = secondtank("stop", "--oil", 76, "--ambient", -5, "--parked", "14:05", "--out", tmp_path)
    page = (tmp_path / "stop.html").read_text(encoding="utf-8")
    assert str(tmp_path / "stop.html") in answer.out
    assert "back by 14:3" in page
    assert "carbon monoxide" in page
    assert "://" not in page.replace("http://www.w3.org/2000/svg", "")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--oil", "nan"), "-40 to 130 degC"),
        (("--ambient", "60"), "-50 to 50 degC"),
        (("--wind", "-1"), "0 to 150 km/h"),
        (("--parked", "25:00"), "as 14:05"),
        (("--settings", "nowhere.toml"), "nowhere.toml"),
    ],
)
def test_bad_input_is_one_message(secondtank: Command, arguments: tuple[str, ...], said: str) -> None:
    answer = secondtank("stop", *arguments)
    assert (answer.status, answer.out) == (2, "")
    assert said in answer.err


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("minutes,oil\n1,2\n", "the columns minutes"),
        (HEAD + "60,78,62,20,,\n60,78,x,20,,\n", r":3: oil_on_degc: found 'x'"),
        (HEAD + "60,78,15,20,,\n", "above the air, 20"),
        (HEAD + "60,60,70,20,,\n", "not above oil_off_degc, 60"),
        (HEAD + "0,78,62,20,,\n", "1 to 1440"),
        (HEAD, "one in which the oil cooled"),
        (HEAD + "60,78\n", "found None"),
    ],
)
def test_a_bad_table_of_stops_names_line_and_column(secondtank: Command, tmp_path: Path, text: str, said: str) -> None:
    (tmp_path / "stops.csv").write_text(text, encoding="utf-8")
    answer = secondtank("stop", "--stops", tmp_path / "stops.csv")
    assert answer.status == 2
    assert said in answer.err
