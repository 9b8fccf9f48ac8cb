"""Settings that a planner found, put into a settings file: comments stay, the law's validator has the last word."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping
from pathlib import Path

import tomlkit
from tomlkit.items import Table

from changeover.settings import defaults
from host_sim.errors import InputError
from host_sim.profile import check, load_profile


def base_settings(settings: str | None, write: Path | None) -> dict[str, int]:
    """Settings to plan with: those named, else those of the file that will be written, else the defaults. Raises InputError."""
    if settings is not None:
        return load_profile(settings)
    return load_profile(write) if write is not None and write.exists() else defaults()


def write_settings(path: Path, changes: Mapping[str, int]) -> list[str]:
    """Put `changes` into the file, or make it; the lines say what is new. Raises InputError and leaves the file as it was."""
    old = load_profile(path) if path.exists() else defaults()
    check(old | dict(changes), str(path))
    document = tomlkit.parse(path.read_text(encoding="utf-8")) if path.exists() else _new()
    table = document["settings"]
    assert isinstance(table, Table)  # load_profile has seen it
    for name, value in changes.items():
        table[name] = value
    write_whole(path, tomlkit.dumps(document))
    return [f"{name} = {changes[name]}, was {old[name]}" for name in sorted(changes) if changes[name] != old[name]]


def write_whole(path: Path, text: str) -> None:
    """Write a text file whole or not at all. Raises InputError."""
    tomllib.loads(text)
    part = path.with_name(path.name + ".part")
    try:
        part.write_text(text, encoding="utf-8")
        os.replace(part, path)
    except OSError as error:
        raise InputError(str(path), error.strerror, "a file that can be written") from None


def _new() -> tomlkit.TOMLDocument:
    document = tomlkit.document()
    document["title"] = "My car"
    document["about"] = "What differs from the defaults."
    document.add("settings", tomlkit.table())
    return document
