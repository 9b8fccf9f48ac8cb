"""The command, as in the tests of the command line."""

from tests.cli.conftest import secondtank

__all__ = ["secondtank"]
