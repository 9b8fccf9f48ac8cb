"""The command as a user types it, run in this process."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from secondtank.cli import main

SCENARIO = """
title = "Short and dull"
about = "A minute of standing about; invented for a test."
car = "estate_1_9"
driver = "calm"
layout = "tank_return"
profile = "full_guard"
seed = 5

[weather]
ambient_c = { value = 15, unit = "degC", source = "invented" }
swing_k = { value = 0, unit = "K", source = "invented" }
start_hour = 8.0

[start]
oil_level = 0.7

[[trip]]
do = "selector"
position = "READY"

[[trip]]
do = "drive"
minutes = 1
pattern = "idle"
"""


@dataclass(frozen=True)
class Answer:
    """What a command leaves: its exit status and what it printed where."""

    status: int
    out: str
    err: str


Command = Callable[..., Answer]


@pytest.fixture
def secondtank(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Command:
    def run(*arguments: object) -> Answer:
        monkeypatch.setattr(sys, "argv", ["secondtank", *map(str, arguments)])
        with pytest.raises(SystemExit) as left:
            main()
        printed = capsys.readouterr()
        status = left.value.code
        return Answer(0 if status is None else int(status), printed.out, printed.err)

    return run


@pytest.fixture
def scenario(tmp_path: Path) -> Path:
    """A scenario file of a minute in which nothing happens."""
    path = tmp_path / "dull.toml"
    path.write_text(SCENARIO, encoding="utf-8")
    return path
