"""What is known of a board at one instant, as pages read it, and what the board says of itself."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from functools import cache

from changeover.settings import defaults
from host_sim.board_log import firmware_hash
from host_sim.errors import InputError
from host_sim.link_client import LinkClient, Telemetry
from secondtank.bench.mirror import Reading, Reason

RATES = 2, 4, 6  # ticks between rows, tried in turn where the cable or this machine does not keep up
SEARCHING, ASKING, TALKING, LOST = "looking for the board", "asking the board", "connected", "no board"


@dataclass(frozen=True)
class Event:
    """Something happened, at this time of the wall's clock."""

    at: datetime
    text: str


@dataclass(frozen=True)
class View:
    """What is known now. `saved`: settings for the next start, where they differ from those in force; `owner`: the page that
    holds the bench, empty where none does; `every_ticks`: how often a row comes."""

    link: str = SEARCHING
    why: str = ""
    port: str = ""
    version: tuple[str, ...] = ()
    values: dict[str, int] = field(default_factory=defaults)
    saved: dict[str, int] = field(default_factory=dict)
    row: Telemetry | None = None
    owner: str = ""
    in_step: bool = True
    readings: tuple[Reading, ...] = ()
    reasons: tuple[Reason, ...] = ()
    unguarded: tuple[str, ...] = ()
    picture: bytes = bytes(1024)
    every_ticks: int = RATES[0]


def said(version: tuple[str, ...], name: str) -> str:
    """What the board's answer to `version` says under this name; empty where it says nothing."""
    return next((line.partition(" ")[2] for line in version if line.startswith(name + " ")), "")


def program(version: tuple[str, ...]) -> str:
    """The hash of the law that the board runs, by its own word; that of these files where it has none."""
    return said(version, "law") or _own_program()


@cache
def _own_program() -> str:
    return firmware_hash()


def read_settings(client: LinkClient) -> tuple[dict[str, int], dict[str, int]]:
    """The board's values in force, and those that wait for a save or for the next start. Raises InputError for a board of another
    version."""
    values: dict[str, int] = {}
    waiting: dict[str, int] = {}
    for line in client.ask("get"):
        now, _, then = line.partition(" next=")
        name, _, number = now.partition("=")
        try:
            values[name] = int(number)
            if then:
                waiting[name] = int(then)
        except ValueError:
            raise InputError("the board's answer to get", line, "NAME=NUMBER") from None
    differ = sorted(values.keys() ^ defaults().keys())
    if differ:
        raise InputError(
            "the board's settings",
            ", ".join(differ[:3]),
            "those of this program: another version is on it; secondtank flash",
        )
    return values, waiting
