"""Simulated time of the event-driven actors: whole milliseconds, and a fixed order within one instant."""

from __future__ import annotations

from typing import TYPE_CHECKING

import simpy

if TYPE_CHECKING:
    from simpy.events import Event

# Within one instant the lower number acts first. 0 is SimPy's own (process starts, interrupts).
FAULTS, PLANT, BOARD, MONITORS = 1, 2, 3, 4


def pause(env: simpy.Environment, delay_ms: int, priority: int = FAULTS) -> Event:
    """Event `delay_ms` (0 or more) from now, in the order of `priority`; to be yielded by an actor.

    SimPy's own `timeout` has no priority: two actors due at one instant would act in the order in which they went to
    sleep.
    """
    event = env.event()
    event._ok = True
    event._value = None
    env.schedule(event, priority=priority, delay=delay_ms)  # pyright: ignore[reportArgumentType]
    return event
