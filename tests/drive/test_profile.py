"""Settings as TOML: the project's own are valid; what is wrong with another is said once, whole and in its place."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from changeover.settings import AUTOMATIC, LOOPED_RETURN, TANK_RETURN, defaults
from changeover.validate import highest_authority, validate
from host_sim.errors import InputError
from host_sim.profile import PROFILES, load_profile
from host_sim.scenario import SCENARIOS, load_scenario, names_in

ENTRY = defaults()["oil_entry_cdegc"]


@pytest.mark.parametrize("name", names_in(PROFILES))
def test_every_profile_of_the_project_is_valid_and_is_what_it_says(name: str) -> None:
    values = load_profile(name)
    assert validate(values) == []
    assert set(values) == set(defaults())
    assert values["authority"] <= highest_authority(values)
    assert values != defaults() or name == "three_sensors"


def test_profiles_cover_both_layouts_and_more_than_one_authority() -> None:
    every = [load_profile(name) for name in names_in(PROFILES)]
    assert {values["layout"] for values in every} == {TANK_RETURN, LOOPED_RETURN}
    assert AUTOMATIC in {values["authority"] for values in every}
    assert len({values["authority"] for values in every}) > 1


@pytest.mark.parametrize("name", names_in(SCENARIOS))
def test_every_scenario_names_a_profile_of_its_own_plumbing(name: str) -> None:
    scenario = load_scenario(name)
    assert ("tank_return", "looped_return")[load_profile(scenario.profile)["layout"]] == scenario.layout


def written(folder: Path, text: str) -> Path:
    path = folder / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_profile_holds_only_what_differs_and_set_changes_that(tmp_path: Path) -> None:
    path = written(tmp_path, 'title = "t"\nabout = "a"\n[settings]\ndwell_diesel_s = 90\n')
    values = load_profile(path, ["reverts_max=7", " dwell_diesel_s = 80 "])
    assert values == {**defaults(), "dwell_diesel_s": 80, "reverts_max": 7}


@pytest.mark.parametrize(
    ("settings", "told"),
    [
        ("dwell_diesel_s = 5", ("dwell_diesel_s", "found 5;", "10 to 600 s")),
        ("dwell_diesel_s = 601", ("dwell_diesel_s", "found 601;", "10 to 600 s")),
        ("dwell_diesel_s = 60.0", ("dwell_diesel_s", "found 60.0;", "whole number")),
        ("fit_supply = true", ("fit_supply", "found True;", "whole number")),
        ('layout = "looped"', ("layout", "found 'looped';", "whole number")),
        ("dwel_diesel_s = 60", ("dwel_diesel_s", "found 60;", "not a setting")),
        ("path_ul = 0", ("path_ul", "found 0;", "10000 to 3000000 uL")),
        ("authority = 2", ("authority", "found 2;", "at most 1")),
        (
            f"oil_exit_cdegc = {ENTRY - 199}",
            ("oil_exit_cdegc", f"found {ENTRY - 199};", f"at most {ENTRY - 200}"),
        ),
    ],
)
def test_a_wrong_setting_is_named_with_file_value_and_range(
    tmp_path: Path, settings: str, told: tuple[str, ...]
) -> None:
    path = written(tmp_path, f"[settings]\n{settings}\n")
    with pytest.raises(InputError) as caught:
        load_profile(path)
    message = str(caught.value)
    assert message.startswith(f"{path}: ")
    for part in told:
        assert part in message


def test_every_error_is_listed_not_only_the_first(tmp_path: Path) -> None:
    wrong = {"dwell_diesel_s": 5, "reverts_max": 0, "run_on_s": 121, "nonsense": 1}
    path = written(tmp_path, "[settings]\n" + "".join(f"{name} = {value}\n" for name, value in wrong.items()))
    with pytest.raises(InputError) as caught:
        load_profile(path)
    message = str(caught.value)
    for name, value in wrong.items():
        assert re.search(rf"\b{name}\b.*\b{value}\b", message), name
    assert "0 to 120 s" in message


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[settings\n", "a TOML file"),
        ("", "a table [settings]"),
        ("settings = 3\n", "a table [settings]"),
        ("[settings]\n[setings]\n", "title, about and the table [settings], nothing else"),
    ],
)
def test_a_file_that_is_no_profile_is_refused(tmp_path: Path, text: str, told: str) -> None:
    path = written(tmp_path, text)
    with pytest.raises(InputError, match=re.escape(told)) as caught:
        load_profile(path)
    assert caught.value.place.startswith(str(path))


def test_a_profile_that_is_not_there_is_refused_with_those_that_are(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="full_guard, looped, three_sensors"):
        load_profile("full_gard")
    with pytest.raises(InputError, match="No such file"):
        load_profile(tmp_path / "none.toml")
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(InputError, match=r"bytes\.toml"):
        load_profile(tmp_path / "bytes.toml")


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ("dwell_diesel_s", "NAME=VALUE"),
        ("dwell_diesel_s=", "NAME=VALUE"),
        ("dwell_diesel_s=a minute", "NAME=VALUE"),
        ("dwell_diesel_s=60.5", "NAME=VALUE"),
        ("dwell=60", "the name of a setting"),
        ("=60", "the name of a setting"),
    ],
)
def test_a_set_that_cannot_be_read_is_refused(change: str, told: str) -> None:
    with pytest.raises(InputError, match=told) as caught:
        load_profile("full_guard", [change])
    assert caught.value.place == "--set"
    assert str(caught.value.value) in change


def test_a_set_that_makes_the_settings_invalid_is_not_blamed_on_the_file_alone() -> None:
    with pytest.raises(InputError) as caught:
        load_profile("full_guard", ["dwell_diesel_s=5"])
    assert "--set" in caught.value.place
    assert caught.value.place.endswith("dwell_diesel_s")
    assert caught.value.value == 5
