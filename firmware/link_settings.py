"""Settings over the link: read, staged one by one, checked whole and saved at once. In force when the law starts anew."""

from changeover.settings import ROWS
from changeover.states import ON_DIESEL, PARKED, STATES
from changeover.validate import validate
from link_lines import Refused, number, short
from store import save_settings

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterator

    from app import App


class LinkSettings:
    """`staged`: what was set and differs from what is in force; `saves`: how often that was saved since the start."""

    def __init__(self, app: "App") -> None:
        self._app = app
        self.staged: "dict[str, int]" = {}
        self.saves = 0
        self._unsaved = False

    def state(self) -> str:
        """In words."""
        if self._unsaved:
            return "%d changed, not saved" % len(self.staged)
        if self.saves:
            return "%d changed and saved, in force at the next start" % len(self.staged)
        return "as at the start"

    def one(self, name: str) -> str:
        """`name=value`, and what was set since; Refused for a name that is none."""
        _row(name)
        return self._line(name)

    def _line(self, name: str) -> str:
        line = "%s=%d" % (name, self._app.values[name])
        return line + " next=%d" % self.staged[name] if name in self.staged else line

    def all(self) -> "Iterator[str]":
        """Every setting, sorted by name."""
        for name in sorted(self._app.values):
            yield self._line(name)

    def set(self, name: str, word: str) -> str:
        """Stage a value within its range; Refused also on oil."""
        self._may_change()
        _, _, _, low, high = _row(name)
        value = number(word, name, low, high)
        if value == self._app.values[name]:
            self.staged.pop(name, None)
        else:
            self.staged[name] = value
        self._unsaved = True
        return self.one(name)

    def save(self) -> str:
        """Check all settings together and put them into flash; Refused with every error, or when flash refuses."""
        self._may_change()
        law = self._app.law
        if law.machine.write_wanted:
            raise Refused("a record is about to be written, try again")
        values = dict(self._app.values)
        values.update(self.staged)
        errors = validate(values)
        if errors:
            more = []
            for name, value, allowed, why in errors:
                more.append("%s is %s, allowed: %s" % (name, value, allowed))
                more.append("  %s" % why)
            raise Refused("nothing saved, wrong: %d" % len(errors), more)
        law.conditions.lateness.excused = True  # flash may take its time, and nothing is energised
        if not save_settings(self._app.folder, values):
            raise Refused("flash does not take them, the old ones stay")
        self.saves += 1
        self._unsaved = False
        return self.state()

    def _may_change(self) -> None:
        machine = self._app.law.machine
        if machine.state != PARKED and machine.state != ON_DIESEL:
            raise Refused("not in %s, only parked or on diesel" % STATES[machine.state])


def _row(name: str) -> "tuple[str, str, int, int, int]":
    for row in ROWS:
        if row[0] == name:
            return row
    raise Refused("%s is not a setting: get lists them" % short(name))


def explained(name: str) -> "Iterator[str]":
    """Unit, default, range and meaning of a setting; Refused for a name that is none."""
    _, unit, usual, low, high = _row(name)

    from changeover.settings_help import meaning  # kept out of memory until somebody asks

    smaller, larger = meaning(name)
    yield "%s: %s, %d by default, from %d to %d" % (name, unit, usual, low, high)
    yield "smaller: %s" % smaller
    yield "larger: %s" % larger
