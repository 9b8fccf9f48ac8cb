"""Published figures and the command, as in the tests of physics and command line."""

from tests.cli.conftest import secondtank
from tests.physics.conftest import reference

__all__ = ["reference", "secondtank"]
