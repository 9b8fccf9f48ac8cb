"""Lamps and buzzer, tick by tick: rates, sounds, and what the law's stories make of them."""

from __future__ import annotations

from itertools import groupby, pairwise

import pytest

from changeover.panel_logic import BLINK, INSISTENT, OFF, REPEATED, SHORT, SILENT, STEADY
from lamp_patterns import LampPatterns
from tests.law.rig import Rig

TICKS_S = 10


def seen(
    lamps: LampPatterns, ticks: int, red: int = OFF, amber: int = OFF, green: int = OFF, sound: int = SILENT
) -> list[tuple[bool, bool, bool, bool]]:
    """Red, amber, green and buzzer, each tick."""
    shown = []
    for _ in range(ticks):
        lamps.step(red, amber, green, sound)
        shown.append((lamps.red, lamps.amber, lamps.green, lamps.buzzer))
    return shown


def rate_hz(lit: list[bool]) -> float:
    """How often a lamp comes on in a second."""
    return sum(after and not before for before, after in pairwise(lit)) * TICKS_S / len(lit)


def test_red_blinks_at_the_normal_rate_and_the_others_at_the_slow_one() -> None:
    """IEC 60073 (from secondary sources): normal 1.4 to 2.8 Hz, slow 0.4 to 0.8 Hz; lit about as long as dark."""
    shown = seen(LampPatterns(), 6000, BLINK, BLINK, BLINK)
    red, amber, green, _ = map(list, zip(*shown, strict=True))
    assert 1.4 <= rate_hz(red) <= 2.8
    assert 0.4 <= rate_hz(amber) <= 0.8
    assert amber == green
    assert all(0.45 < sum(lamp) / len(lamp) < 0.55 for lamp in (red, amber))
    for lamp, ticks in ((red, 2), (amber, 7)):
        runs = [len(list(run)) for _, run in groupby(lamp)]
        assert set(runs[1:-1]) == {ticks}, "even, where the count begins anew too"


def test_steady_is_steady_and_off_is_off() -> None:
    assert set(seen(LampPatterns(), 500, STEADY, OFF, STEADY)) == {(True, False, True, False)}


@pytest.mark.parametrize(
    ("pattern", "beeps", "sounding"), [(SILENT, 0, 0), (SHORT, 1, 2), (REPEATED, 30, 60), (INSISTENT, 75, 150)]
)
def test_each_sound_has_a_rhythm_of_its_own(pattern: int, beeps: int, sounding: int) -> None:
    """In half a minute."""
    heard = [buzzer for *_, buzzer in seen(LampPatterns(), 300, sound=pattern)]
    assert sum(on for on, _ in groupby(heard)) == beeps
    assert sum(heard) == sounding
    assert not beeps or heard[0], "at once"


def test_a_new_sound_begins_at_once() -> None:
    lamps = LampPatterns()
    heard = [buzzer for sound in (SHORT, REPEATED, SHORT, INSISTENT) for *_, buzzer in seen(lamps, 7, sound=sound)]
    assert [heard[at] for at in (0, 7, 14, 21)] == [True] * 4
    assert [heard[at] for at in (6, 13, 20)] == [False] * 3
    assert not any(buzzer for *_, buzzer in seen(lamps, 500, sound=SHORT)[2:]), "once only"


def test_starved_on_oil_blinks_red_and_insists_and_purging_blinks_amber() -> None:
    rig, lamps = Rig(), LampPatterns()
    rig.warm_start()
    asked = rig.law.panel
    lamps.step(asked.red, asked.amber, asked.green, asked.buzzer)
    assert (lamps.red, lamps.amber, lamps.green) == (False, False, True)
    rig.reads(suction_kpa=37.0)
    shown = []
    for _ in range(150):
        rig.tick()
        lamps.step(asked.red, asked.amber, asked.green, asked.buzzer)
        shown.append((lamps.red, lamps.amber, lamps.green, lamps.buzzer))
    starved = [tick for tick in shown if not tick[2]]
    red, amber, _, buzzer = map(list, zip(*starved, strict=True))
    assert 1.4 <= rate_hz(red) <= 2.8
    assert 0.4 <= rate_hz(amber) <= 0.8
    assert any(buzzer[:45])
    assert not any(buzzer[55:]), "five seconds of it"
