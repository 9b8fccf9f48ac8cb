"""An attack on a board that drives: a link that is sent anything, its law, and a twin law without a link beside it.

    python -m tests.link.siege LINES [SEED]

plays so many lines and prints what happened. `make test` plays fewer.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator

from changeover.inputs import BONNET, BRAKE, ENGINE, KEY, NEUTRAL
from changeover.law import Law
from changeover.states import PARKED, STATES
from changeover.ticks import ticks_diff
from changeover.validate import validate
from host_sim.link_client import stamped
from link import Link
from link_bench import SILENCE_MS, BenchLaw
from link_lines import Refused
from store import load_settings
from tests.law.rig import HOT_ENGINE, Rig
from tests.link.attack import Attacker
from tests.link.desk import Desk

SYNC_EVERY = 200  # lines
_ROOMS = (0, 1, 63, 64, 512, 512, 512, 512, 512, 512)
_A_TICK = (0, 1, 1, 1, 1, 2, 2, 9)
_ROOM_FOR_ALL = 256
_QUIET_TICKS = 60  # by then the longest answer is stopped and the token is back
_SCENE_TICKS = (3, 12, 40, 90)


def decided(law: Law) -> tuple[object, ...]:
    """Everything that leaves a law."""
    machine, panel = law.machine, law.panel
    return (
        machine.state, machine.supply_on, machine.return_on, law.heater.on, law.run_on, law.power_hold, machine.moves,
        machine.lines.credit_ul, law.interlocks.blocked, law.interlocks.forced, panel.message, panel.buzzer,
    )  # fmt: skip


def fresh() -> Rig:
    """A warm car with everything fitted, run-on included."""
    rig = Rig(run_on_s=6, fit_heater=1, dwell_diesel_s=10, path_ul=20_000)
    rig.reads(**HOT_ENGINE)
    for switch in (BRAKE, NEUTRAL, BONNET):
        rig.levels[switch] = True
    return rig


class Siege:
    """`seen` counts what happened. Every tick asserts what must hold."""

    def __init__(self, seed: int) -> None:
        self.attacker = Attacker(seed)
        self._chance = self.attacker.chance
        self._folder = tempfile.TemporaryDirectory()
        self.desk = Desk(fresh(), self._folder.name)
        self._twin = fresh()
        self._in_force = dict(self.desk.values)
        self._scene_ticks = 0
        self._fed_ms = 0
        self._patient = False
        self._tokens = 0
        self.seen: Counter[str] = Counter()
        self._listen(self.desk.link)

    def _listen(self, link: Link) -> None:
        """When was a line taken? Asked of the objects themselves, so that no answer need get through."""
        bench = link.bench
        begin, feed, answered = bench.begin, bench.feed, link._answered

        def taken(line: str | Refused) -> Iterator[str]:
            self.seen["lines taken"] += 1
            return answered(line)

        def begun() -> None:
            self._fed_ms = self.desk.rig.now_ms
            self._patient = self._chance.random() < 0.5  # then the host goes on with a warm engine
            self.seen["bench granted"] += 1
            begin()

        def fed(counts: list[int], levels: list[bool]) -> None:
            self._fed_ms = self.desk.rig.now_ms
            self.seen["bench lines"] += 1
            feed(counts, levels)

        bench.begin, bench.feed, link._answered = begun, fed, taken

    def play(self, lines: int) -> None:
        """So many lines, a few a tick; every now and then the link must find its place again."""
        left = lines
        while left > 0:
            self.desk.room = self._chance.choice(_ROOMS)
            sent = [self.attacker.line() for _ in range(self._chance.choice(_A_TICK))]
            if self._patient and self.desk.link.bench.law is not None:  # a host that means it
                self.desk.room = _ROOM_FOR_ALL
                sent = [b"\n", self.attacker.warm(*self.desk.pins[:2]), *sent[: self._chance.random() < 0.05]]
            self.desk.link.take(b"".join(sent))
            self._tick()
            before = left // SYNC_EVERY
            left -= len(sent)
            if left // SYNC_EVERY != before:
                self._sync()
        self.seen["lines"] += lines - left

    def _sync(self) -> None:
        """An empty line, a word: it comes back, once, and then the link is still."""
        desk = self.desk
        desk.room = _ROOM_FOR_ALL
        desk.link.take(b"\n")
        self._quiet()
        self._hear()
        if (
            self._chance.random() < 0.2
        ):  # what was set so far hardly ever goes together: take it back, so that a save may succeed
            for name in list(desk.link.commands.settings.staged):
                desk.link.take(stamped(f"set {name} {self._in_force[name]}").encode() + b"\n")
                self._tick()
        self._tokens += 1
        desk.link.take(f"watch 0\necho {self._tokens}\n".encode())
        for _ in range(_QUIET_TICKS):
            self._tick(heard=False)
        lines = desk.lines()
        self._judge(lines)
        assert lines.count(f"ok echo {self._tokens}") == 1, lines
        assert desk.heard == b""
        last = [line for line in lines if line.split(" ")[0] in ("ok", "error")]
        assert last[-1] == f"ok echo {self._tokens}", lines
        assert self.seen["lines taken"] == self.seen["ok"] + self.seen["error"], "one last line for each"
        self.seen["found its place"] += 1

    def _quiet(self) -> None:
        for _ in range(_QUIET_TICKS):
            self._tick(heard=False)

    def _tick(self, heard: bool = True) -> None:
        rig, twin = self.desk.rig, self._twin
        self._drive()
        fed_ms = self._fed_ms
        self.desk.tick()
        twin.tick()
        self.seen["ticks"] += 1
        self.seen[STATES[rig.law.machine.state]] += 1
        assert decided(rig.law) == decided(twin.law), "the link changed what the law does"
        self._pins(fed_ms)
        self._bounds()
        if heard:
            self._hear()

    def _pins(self, fed_ms: int) -> None:
        desk = self.desk
        own, driving = desk.rig.law, desk.driving
        if driving is own:
            return
        assert isinstance(driving, BenchLaw)
        assert own.machine.state == PARKED
        assert not own.machine.lines_dirty
        assert not desk.rig.levels[KEY]
        assert not desk.rig.levels[ENGINE]
        assert ticks_diff(desk.rig.now_ms, fed_ms) < SILENCE_MS
        assert desk.pins[2:] == (False, False), "heater or run-on relay from the desk"
        self.seen["bench ticks"] += 1
        self.seen["bench ticks with a valve on"] += any(desk.pins)
        self.seen["bench ticks that want heat"] += driving.wants_heater

    def _bounds(self) -> None:
        link = self.desk.link
        assert len(link._input.lines) <= 5
        assert len(link._out) <= 8
        assert len(link._watched) <= 4
        assert len(link._sending) <= 640
        assert len(link.commands.settings.staged) <= len(self._in_force)
        assert self.desk.values == self._in_force

    def _hear(self) -> None:
        self._judge(self.desk.lines())

    def _judge(self, lines: list[str]) -> None:
        for line in lines:
            assert len(line) <= 120, line
            assert line.isprintable(), line
            word = line.split(" ")[0]
            self.seen[word if word in ("ok", "error", "tick", "note") else "other"] += 1
            if line.startswith("ok save"):
                values, errors = load_settings(self.desk.folder)
                assert not errors
                assert validate(values) == []
                self.seen["ok save"] += 1

    def _drive(self) -> None:
        """The car's day, the same for the twin: parked and clean for long, then a trip with every state."""
        self._scene_ticks -= 1
        if self._scene_ticks > 0:
            return
        chance = self._chance
        self._scene_ticks = chance.choice(_SCENE_TICKS)
        parked = not self.desk.rig.levels[KEY] and not self.desk.law.machine.lines_dirty
        if parked and chance.random() < 0.6:
            return
        deed = chance.choice(("start", "start", "stall", "key off", "key off", "key off alone", "select", "readings"))
        on = chance.random() < 0.7
        for rig in (self.desk.rig, self._twin):
            if deed == "start":
                rig.key(True)
                rig.engine(on)
                rig.ready()
                rig.reads(**HOT_ENGINE)
            elif deed == "stall":
                rig.engine(False)
            elif deed == "key off":
                rig.key(False)
                rig.engine(False)
            elif deed == "key off alone":
                rig.key(False)
            elif deed == "select":
                rig.ready(on)
            else:
                rig.reads(oil_c=80.0 if on else 20.0)


def main() -> None:
    """Command line."""
    siege = Siege(int(sys.argv[2]) if len(sys.argv) > 2 else 1)
    started_s = time.monotonic()
    siege.play(int(sys.argv[1]))
    for what, count in sorted(siege.seen.items()):
        print(f"{count:9d} {what}")
    lost = siege.desk.link
    print(f"{lost._input.lost:9d} lines that came too fast\n{lost.commands.lost_out:9d} rows without room")
    print(f"{time.monotonic() - started_s:9.1f} s")


if __name__ == "__main__":
    main()
