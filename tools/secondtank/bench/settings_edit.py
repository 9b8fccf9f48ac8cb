"""Settings as the bench changes them: a candidate beside what is in force, the validator's words, TOML both ways, and the save."""

from __future__ import annotations

import tempfile
from pathlib import Path

import tomlkit

from changeover.settings import ROWS, defaults
from changeover.settings_help import meaning
from changeover.validate import validate
from host_sim.errors import InputError
from host_sim.profile import load_profile
from secondtank.bench.session import Session
from secondtank.bench.view import read_settings

UNITS = {name: unit for name, unit, *_ in ROWS}
RANGES = {name: (low, high) for name, _, _, low, high in ROWS}


def errors(values: dict[str, int]) -> dict[str, list[str]]:
    """The validator's words by setting."""
    found: dict[str, list[str]] = {}
    for name, value, allowed, why in validate(values):
        found.setdefault(name, []).append(f"{value}, allowed: {allowed} ({why})")
    return found


def differences(left: dict[str, int], right: dict[str, int]) -> list[tuple[str, int | None, int | None]]:
    """(name, left, right) where they differ."""
    names = sorted(left.keys() | right.keys())
    return [(name, left.get(name), right.get(name)) for name in names if left.get(name) != right.get(name)]


def to_toml(values: dict[str, int], about: str) -> str:
    """A settings file of what differs from the defaults, each with its unit."""
    document = tomlkit.document()
    document.add("title", tomlkit.item("Settings of a board"))
    document.add("about", tomlkit.item(about))
    table = tomlkit.table()
    for name, value, _ in differences(values, defaults()):
        assert value is not None
        table.add(name, tomlkit.item(value).comment(UNITS[name]))
    document.add("settings", table)
    return tomlkit.dumps(document)


def from_toml(name: str, data: bytes) -> dict[str, int]:
    """Every setting of an uploaded file: defaults, then what it says. Raises InputError in the file's own name."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / (Path(name).stem + ".toml")
        path.write_bytes(data)
        try:
            return load_profile(path)
        except InputError as error:
            raise InputError(error.place.replace(f"{folder}/", ""), error.value, error.wanted) from None


def explained(name: str) -> tuple[str, str]:
    """(what a smaller value means, a larger one)."""
    return meaning(name)


def save(session: Session, changes: dict[str, int]) -> str:
    """A job: set, save, read back. Raises LinkRefused with the board's words, InputError where it reads back otherwise."""
    session.end("settings are saved")
    client = session.client
    before = {**session.view.values, **session.view.saved}
    wanted = {**before, **changes}
    try:
        for name, value in changes.items():
            client.change(f"set {name} {value}")
        client.change("save")
    finally:
        values, saved = read_settings(client)
        session.know_settings(values, saved)
    found = {**values, **saved}
    wrong = differences(wanted, found)
    if wrong:
        name, should, is_now = wrong[0]
        raise InputError(f"the board's {name}", is_now, f"{should}, as it was sent")
    return f"{len(changes)} saved and read back; in force when the board starts next"
