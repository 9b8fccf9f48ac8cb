"""What the commands of the link do, in the order of `link_table`. One answers with a last word, or with lines to read out."""

import sys

import changeover
from changeover.sensing import NO_ANSWER
from changeover.settings_file import settings_hash
from journal_totals import TOTALS
from link_bench import Bench
from link_clock import date_and_time
from link_input import LinkInput
from link_lines import Refused, number
from link_report import faults, manifest, status
from link_settings import LinkSettings, explained
from link_table import LEAST, MOST_WORDS, NAME, TABLE, WHAT, row, usage

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterator

    from app import App

PROTOCOL = 1
_SLOWEST_TICKS = 600
_MOST_BLOCK = 999999


class Commands:
    """Only `set`, `save`, `clock`, `test` and `bench` change anything; `watch` only what is sent."""

    def __init__(self, app: "App", bench: Bench, incoming: LinkInput) -> None:
        self._app = app
        self._bench = bench
        self._incoming = incoming
        self.settings = LinkSettings(app)
        self._hash = settings_hash(app.values)  # once: it takes a third of a tick
        self.every_ticks = 0
        self.lost_out = 0  # rows of telemetry and notes that had no room

    def run(self, name: str, words: "list[str]") -> "str | Iterator[str]":
        """Do a command of the table; raises Refused."""
        known = row(name)
        if not known[LEAST] <= len(words) <= known[MOST_WORDS]:
            raise Refused("should be: " + usage(known))
        return getattr(self, "do_" + name)(words)

    def do_help(self, words: "list[str]") -> "Iterator[str]":
        """All commands, one command, or a setting."""
        if not words:
            for each in TABLE:
                yield "%s: %s" % (usage(each), each[WHAT])
            yield "set, save, clock, test and bench need a checksum: send the line without, the answer says which to send"
            yield "an empty line stops a long answer"
        elif any(words[0] == each[NAME] for each in TABLE):
            known = row(words[0])
            yield usage(known)
            yield known[WHAT]
        else:
            yield from explained(words[0])

    def do_echo(self, words: "list[str]") -> str:
        """The word."""
        return words[0]

    def do_version(self, words: "list[str]") -> "Iterator[str]":
        """What runs here."""
        yield "changeover %s" % changeover.VERSION
        yield "protocol %d" % PROTOCOL
        yield "settings %s" % self._hash
        yield "start %d" % self._app.journal.boots
        yield "%s %s" % (sys.implementation.name, ".".join(map(str, sys.implementation.version[:3])))
        yield from manifest()

    def do_status(self, words: "list[str]") -> "Iterator[str]":
        """The law that drives the pins, then what the link itself has to say."""
        bench = self._bench.law
        if bench is not None:
            yield "bench input: what follows comes from a desktop"
        yield from status(bench or self._app.law)
        yield "settings %s, %s" % ("valid" if self._app.valid else "NOT VALID", self.settings.state())
        yield "journal: %d lines dropped, %d blocks erased" % (self._app.journal.dropped, self._app.journal.wear)
        yield "link: %d lines came too fast, %d went unread" % (self._incoming.lost, self.lost_out)

    def do_faults(self, words: "list[str]") -> "Iterator[str]":
        """The interlock table, as it stands."""
        return faults(self._bench.law or self._app.law, self._app.values)

    def do_credited(self, words: "list[str]") -> "Iterator[str]":
        """Totals of the season."""
        for name, value in zip(TOTALS, self._app.journal.totals.values()):
            yield "%s=%d" % (name, value)

    def do_watch(self, words: "list[str]") -> str:
        """Telemetry on or off."""
        self.every_ticks = number(words[0], "TICKS", 0, _SLOWEST_TICKS)
        return words[0]

    def do_get(self, words: "list[str]") -> "str | Iterator[str]":
        """One setting or all."""
        return self.settings.one(words[0]) if words else self.settings.all()

    def do_set(self, words: "list[str]") -> str:
        """Stage a setting."""
        return self.settings.set(words[0], words[1])

    def do_save(self, words: "list[str]") -> str:
        """Keep what is staged."""
        return self.settings.save()

    def do_journal(self, words: "list[str]") -> "Iterator[str]":
        """The log's lines."""
        return self._app.journal.read(number(words[0], "BLOCK", 0, _MOST_BLOCK) if words else 0)

    def do_clock(self, words: "list[str]") -> str:
        """A row of the trip log that ties the board's time to the calendar; nothing else hears of it."""
        moment = date_and_time(words[0], words[1])
        if not self._app.journal.set_clock(moment):
            raise Refused("it was set less than a minute ago")
        return moment

    def do_test(self, words: "list[str]") -> str:
        """Hand the wish to service mode, which refuses with the engine running or oil about, and waits for the button."""
        refused = "bench input is on" if self._bench.law else self._app.service.ask_test(words[0])
        if refused:
            raise Refused(refused)
        return "%s, press the button" % words[0]

    def do_bench(self, words: "list[str]") -> str:
        """Ask for the bench, give it back, or feed it."""
        bench = self._bench
        if words[0] == "off":
            bench.end("")
            return "off"
        if words[0] == "on":
            refused = bench.why_not() or ("an output is being tested" if self._app.service.busy else "")
            if refused:
                raise Refused(refused)
            bench.begin()
            return "on"
        if bench.law is None:
            raise Refused("it is not on")
        bits = words[-1]
        if len(words) != 11 or len(bits) != 10 or bits.strip("01"):
            raise Refused("should be ten counts, then ten levels in one word, like 0110000000")
        bench.feed([number(word, "a count", NO_ANSWER, 65535) for word in words[:10]], [bit == "1" for bit in bits])
        return ""
