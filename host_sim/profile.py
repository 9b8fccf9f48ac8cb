"""Settings of the law as people keep them: a TOML file of what differs from the defaults, checked by the law's own validator."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from changeover.settings import defaults
from changeover.validate import validate
from host_sim.errors import InputError

PROFILES = Path(__file__).parent / "profiles"


def profile_path(path_or_name: str | Path) -> Path:
    """File of a profile given by its path or by the name of one of the project's own."""
    path = Path(path_or_name)
    if path.suffix == ".toml" or path.exists():
        return path
    own = PROFILES / f"{path_or_name}.toml"
    if own.exists():
        return own
    names = ", ".join(sorted(file.stem for file in PROFILES.glob("*.toml")))
    raise InputError("settings", str(path_or_name), f"a TOML file, or one of the project's own profiles: {names}")


def load_profile(path_or_name: str | Path, changes: Sequence[str] = ()) -> dict[str, int]:
    """Every setting by name: defaults, then the profile, then `changes` ("NAME=VALUE"). Raises InputError with all errors."""
    path = profile_path(path_or_name)
    values = defaults()
    values.update(_table(path))
    for change in changes:
        name, equals, text = change.partition("=")
        try:
            values[name.strip()] = int(text)
        except ValueError:
            raise InputError("--set", change, "NAME=VALUE with a whole number as value") from None
        if not equals or name.strip() not in defaults():
            raise InputError("--set", name.strip(), "the name of a setting (they are listed in the settings reference)")
    check(values, f"{path}, changed by --set" if changes else str(path))
    return values


def check(values: dict[str, int], place: str) -> None:
    """Raises InputError naming every error that the law's validator finds; the first one's value stands in front."""
    errors = validate(values)
    if errors:
        first = errors[0]
        rest = "".join(f"\n  {name} = {value}: {why}; allowed: {allowed}" for name, value, allowed, why in errors[1:])
        raise InputError(
            f"{place}: {first[0]}", first[1], f"{first[2]} ({first[3]})" + (f"; and also:{rest}" if rest else "")
        )


def _table(path: Path) -> dict[str, Any]:
    try:
        with path.open("rb") as file:
            data = tomllib.load(file)
    except OSError as error:
        raise InputError(str(path), error.strerror, "a settings file that can be read") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(str(path), str(error), "a TOML file") from None
    if not isinstance(data.get("settings"), dict):
        raise InputError(f"{path}: settings", data.get("settings"), "a table [settings] of NAME = whole number")
    for key in data:
        if key not in ("title", "about", "settings"):
            raise InputError(f"{path}: {key}", data[key], "title, about and the table [settings], nothing else")
    return data["settings"]
