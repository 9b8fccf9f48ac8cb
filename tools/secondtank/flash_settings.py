"""Settings of an older program taken over into the ones that this program knows, each change in words."""

from __future__ import annotations

from dataclasses import dataclass

from changeover.settings import ROWS, defaults
from changeover.settings_file import decode, encode
from host_sim.errors import InputError
from host_sim.profile import check


@dataclass(frozen=True)
class Migration:
    """`values`: every setting; `changes`: what differs from the saved ones, a line each."""

    values: dict[str, int]
    changes: list[str]

    @property
    def data(self) -> bytes:
        """As the board keeps them."""
        return encode(self.values)


def migrate(saved: bytes) -> Migration:
    """The saved settings for this program. Raises InputError where they cannot be read, or do not go together any more."""
    old, errors = decode(saved)
    if errors:
        place, found, wanted, why = errors[0]
        raise InputError(f"the board's settings: {place}", found, f"{wanted} ({why}); give --settings FILE.toml")
    values = defaults()
    changes = []
    for name, unit, usual, low, high in ROWS:
        if name not in old:
            changes.append(f"new: {name} = {usual} {unit}, its default")
        elif not low <= old[name] <= high:
            changes.append(
                f"out of range: {name} was {old[name]}, allowed are {low} to {high}; now {usual} {unit}, its default"
            )
        else:
            values[name] = old[name]
    changes += [f"gone: {name}, was {old[name]}" for name in sorted(old) if name not in values]
    try:
        check(values, "the board's settings, taken over")
    except InputError as error:
        told = "".join(f"\n  {change}" for change in changes)
        raise InputError(
            error.place, error.value, f"{error.wanted}; give --settings FILE.toml. Taken over so far:{told}"
        ) from None
    return Migration(values, changes)


def replace(saved: bytes | None, values: dict[str, int]) -> Migration:
    """Other settings in place of the saved ones."""
    if saved is None:
        return Migration(values, [f"all {len(values)}: the board had none"])
    old, errors = decode(saved)
    if errors:
        return Migration(values, [f"all {len(values)}: the saved ones cannot be read"])
    changes = [
        f"{name} = {values[name]}" + (f", was {old[name]}" if name in old else "")
        for name in sorted(values)
        if old.get(name) != values[name]
    ]
    changes += [f"gone: {name}, was {old[name]}" for name in sorted(old) if name not in values]
    return Migration(values, changes)
