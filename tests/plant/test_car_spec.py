"""Car files: what is read, and the one clear error for what is not."""

from pathlib import Path

import pytest

from host_sim.car_spec import CarSpec, default_car_path, load_car
from host_sim.errors import InputError

TEXT = default_car_path().read_text(encoding="utf-8")


def test_every_car_of_the_project_loads_and_names_its_sources() -> None:
    files = sorted(default_car_path().parent.glob("*.toml"))
    assert files
    for file in files:
        for table in load_car(file).model_dump().values():
            if isinstance(table, dict):
                for key, quantity in table.items():
                    assert len(quantity["source"]) > 3, f"{file.name} {key}"


SIZE = "displacement_l = { value = 1.9"
SIZE_KEY = "engine.displacement_l"


@pytest.mark.parametrize(
    ("old", "new", "key", "wanted"),
    [
        (SIZE + ', unit = "L"', SIZE + ', unit = "cm3"', SIZE_KEY + ".unit", "unit 'L'"),
        (SIZE, SIZE.replace("1.9", "90"), SIZE_KEY + ".value", "0.5 to 8 L"),
        (SIZE, SIZE.replace("1.9", '"big"'), SIZE_KEY + ".value", "number"),
        (SIZE, SIZE.replace("1.9", "nan"), SIZE_KEY + ".value", "finite"),
        ("displacement_l =", "displacment_l =", "engine.displacment_l", "no such key"),
        ("[valves]", "[valve]", "valve", "no such key"),
        ('source = "judgement: a common size"', 'source = ""', SIZE_KEY + ".source", "at least 3"),
        (', source = "judgement: a common size"', "", SIZE_KEY + ".source", "the key 'source'"),
        ("full_c = { value = 95", "full_c = { value = 80", "thermostat_full_c.value", "more than thermostat_start_c"),
        ("shell_j_k = { value = 4000", "shell_j_k = { value = 100", "oil_shell_j_k.value", "more than the 3600"),
        ("volumes = { value = 3", "volumes = { value = 2.5", "injection.stirred_volumes.value", "whole number"),
        ("hold_v = { value = 5", "hold_v = { value = 9.5", "valves.pull_in_v.value", "more than hold_v"),
        ("idle_rpm = {", "idle_rpm = [", "", "TOML"),
    ],
)
def test_first_error_names_file_key_and_what_would_be_right(
    tmp_path: Path, old: str, new: str, key: str, wanted: str
) -> None:
    file = tmp_path / "car.toml"
    assert TEXT.count(old) >= 1
    file.write_text(TEXT.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_car(file)
    assert str(file) in caught.value.place
    assert caught.value.place.endswith(key)
    assert wanted in caught.value.wanted
    assert "\n" not in str(caught.value)


def test_missing_table_and_missing_file(tmp_path: Path) -> None:
    file = tmp_path / "car.toml"
    file.write_text(TEXT[: TEXT.index("[fuels]")], encoding="utf-8")
    with pytest.raises(InputError, match="fuels"):
        load_car(file)
    with pytest.raises(InputError, match="readable TOML"):
        load_car(tmp_path / "none.toml")
    with pytest.raises(InputError, match="readable TOML"):
        load_car(tmp_path)
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(InputError, match="UTF-8"):
        load_car(tmp_path / "bytes.toml")


def test_values_can_be_replaced_and_are_judged_again(spec: CarSpec) -> None:
    fitted = spec.with_values({"engine.block_j_k": 50_000.0}, "fitted to a log")
    assert fitted.engine.block_j_k.value == 50_000.0
    assert fitted.engine.block_j_k.source == "fitted to a log"
    assert spec.engine.block_j_k.value != 50_000.0
    with pytest.raises(InputError, match="block_j_k"):
        spec.with_values({"engine.block_j_k": 1.0}, "nonsense")
    for key in ("engine.nothing", "engine", "engine.block_j_k.value", "nothing.at.all"):
        with pytest.raises(InputError, match="dotted key"):
            spec.with_values({key: 1.0}, "nonsense")
