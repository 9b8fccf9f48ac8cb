"""Date and time of day as a host sends them. The board has no clock of its own and reckons with none."""

from link_lines import Refused, number

_FIRST_YEAR, _LAST_YEAR = 2025, 2099  # a host whose own clock was never set says 1970 or 2000
_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


def date_and_time(date: str, time: str) -> str:
    """`YYYY-MM-DD HH:MM:SS` where they are a day of the calendar and a time of that day; Refused otherwise."""
    year, month, day = _three(date, "-", "the date", "YYYY-MM-DD", 4)
    number(year, "the year", _FIRST_YEAR, _LAST_YEAR)
    days = _DAYS[number(month, "the month", 1, 12) - 1]
    if days == 28 and int(year) % 4 == 0:  # the rule of centuries has no case from 2025 to 2099
        days = 29
    number(day, "the day", 1, days)
    hour, minute, second = _three(time, ":", "the time", "HH:MM:SS", 2)
    number(hour, "the hour", 0, 23)
    number(minute, "the minute", 0, 59)
    number(second, "the second", 0, 59)
    return "%s %s" % (date, time)


def _three(word: str, between: str, name: str, form: str, first: int) -> "list[str]":
    parts = word.split(between)
    if [len(part) for part in parts] != [first, 2, 2]:
        raise Refused("%s should be %s" % (name, form))
    return parts
