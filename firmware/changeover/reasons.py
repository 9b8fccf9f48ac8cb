"""Ids of reasons: 0 .. 31 are the rows of the interlock table, the rest stand here. Append only: logs carry them."""

KEY_OFF, KEY_ON, ALLOWED, FILLED, PURGED, SELECTOR, STOPPING_SOON, PURGE_RESUMED, RUN_ON_ENDED = range(32, 41)

TEXTS = (
    "key off",
    "key on",
    "everything allows oil and the driver wants it",
    "oil may be at the return valve",
    "whole purge volume credited",
    "selector on DIESEL",
    "driver is stopping soon",
    "what forbade the purge has gone",
    "held-on engine reached its end before the purge did",
)
