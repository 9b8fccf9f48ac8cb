"""The record that survives the key: whatever is cut or flipped, the answer is on the safe side."""

from __future__ import annotations

import struct
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from changeover.law import Law
from changeover.memory import SLOT_BYTES, Record, choose, decode
from tests.law.rig import fitted_out


def record(oil: bool, sequence: int = 7) -> Record:
    made = Record()
    made.oil_in_lines, made.sequence = oil, sequence - 1
    made.boots, made.trips, made.suction_mean_pa, made.suction_low_pa = 3, 2**30 - 1, 18_000, 4_321
    return made


def slots(oil: bool, before: bool, sequence: int = 7) -> list[bytes]:
    """Two slots of which the later one says `oil` and the earlier one `before`."""
    pair = [b"", b""]
    for said, number in ((before, sequence - 1), (oil, sequence)):
        pair[number & 1] = record(said, number).encode()
    return pair


def test_record_comes_back_whole() -> None:
    for oil in (True, False):
        data = record(oil).encode()
        assert len(data) == SLOT_BYTES
        back = decode(data)
        assert back is not None
        assert vars(back) == {
            "oil_in_lines": oil, "sequence": 7, "boots": 3, "trips": 2**30 - 1, "suction_mean_pa": 18_000,
            "suction_low_pa": 4_321,
        }  # fmt: skip
        assert struct.unpack("<I", data[-4:])[0] == zlib.crc32(data[:-4])


def test_later_slot_counts() -> None:
    for oil in (True, False):
        for sequence in (7, 8, 2**30 - 1):
            pair = slots(oil, not oil, sequence)
            assert choose(pair).oil_in_lines is oil
            assert choose(pair).sequence == sequence


def test_sequence_goes_on_after_its_wrap() -> None:
    last = record(True, 2**30 - 1)
    pair = [b"", last.encode()]
    last.oil_in_lines = False
    pair[0] = last.encode()
    assert last.sequence == 0
    assert last.slot() == 0
    assert choose(pair).oil_in_lines is False
    assert choose(pair).sequence == 0


def test_board_that_remembers_nothing_assumes_oil() -> None:
    assert choose([b"", b""]).oil_in_lines is True
    assert choose([b"junk", b""]).oil_in_lines is True
    assert choose([]).oil_in_lines is True


def test_very_first_record_needs_no_second_slot() -> None:
    first = Record()
    first.oil_in_lines = False
    data = first.encode()
    assert first.slot() == 1
    assert choose([b"", data]).oil_in_lines is False
    assert choose([b"\x00", data]).oil_in_lines is True, "something was begun in the other slot"


@pytest.mark.parametrize("which", [0, 1])
@pytest.mark.parametrize(("oil", "before"), [(True, False), (False, True), (False, False), (True, True)])
def test_cut_at_any_byte_of_either_slot_never_hides_oil(which: int, oil: bool, before: bool) -> None:
    pair = slots(oil, before)
    whole = pair[which]
    for length in range(SLOT_BYTES):
        pair[which] = whole[:length]
        assert choose(pair).oil_in_lines is True
        pair[which] = whole[:length] + b"\xff" * (SLOT_BYTES - length)  # erased flash reads ones
        assert choose(pair).oil_in_lines is True


@pytest.mark.parametrize("which", [0, 1])
def test_any_flipped_bit_of_either_slot_is_found(which: int) -> None:
    pair = slots(False, False)
    whole = pair[which]
    for bit in range(8 * SLOT_BYTES):
        flipped = bytearray(whole)
        flipped[bit // 8] ^= 1 << bit % 8
        assert decode(bytes(flipped)) is None
        pair[which] = bytes(flipped)
        assert choose(pair).oil_in_lines is True


@given(st.binary(max_size=40))
def test_garbage_is_no_record(data: bytes) -> None:
    assert decode(data) is None


@pytest.mark.parametrize("start", [1, 2, 7, 2**30 - 2])
def test_write_that_is_refused_never_costs_the_good_slot(start: int) -> None:
    kept = record(True, start)
    pair = [b"", b""]
    data = kept.encode()
    pair[kept.slot()] = data
    for _ in range(5):  # each try is cut half way
        kept.oil_in_lines = False
        torn = kept.encode()[:16]
        pair[kept.slot()] = torn
        kept.refused()
        assert choose(pair).oil_in_lines is True
        assert data in pair
    pair[0 if pair[1] == data else 1] = kept.encode()
    assert choose(pair).oil_in_lines is False


def test_law_writes_what_it_has_learnt_and_takes_it_up_again() -> None:
    law = Law(fitted_out(), record(False))
    assert law.restriction.mean_pa == 18_000
    assert law.restriction.low_pa == 4_321
    law.machine.record_dirty = True
    law.restriction.mean_pa = 19_000
    back = decode(law.write_record())
    assert back is not None
    assert (back.oil_in_lines, back.suction_mean_pa, back.suction_low_pa) == (True, 19_000, 4_321)


def test_a_stale_slot_beside_a_new_beginning_is_not_believed() -> None:
    """Both slots unreadable once at boot: numbers begin at 1 again beside an old, higher one that said diesel."""
    old, new = Record(), Record()
    old.sequence = 7
    old.oil_in_lines = False
    assert choose([old.encode(), new.encode()]).oil_in_lines
