"""A time as somebody types it: seconds, m:ss, h:mm:ss, a step from here, or a time of day."""

from __future__ import annotations

import re
from datetime import datetime, timedelta, tzinfo

from busprobe.session.snapshot import Snapshot

HINT = "90 · 1:30 · +10 · at 14:03:22 · end"
"""Short enough for the narrowest terminal."""
_FORMS = "90 · 1:30 · 1:02:03.4 · +10 · -10 · at 14:03:22 · end"
_AMOUNT = re.compile(r"(?:(?:(\d+):)?(\d{1,2}):)?(\d+(?:\.\d*)?)")
_SPOKEN = re.compile(r"(?=\d)(?:(\d+) ?h ?)?(?:(\d+) ?min ?)?(?:(\d+(?:\.\d*)?) ?s)?")
"""As lengths are shown: "3 min 05 s"."""
_OF_DAY = re.compile(r"at\s*(\d{1,2}):(\d{2})(?::(\d{2}(?:\.\d*)?))?")
_LEAST_WALL_NS = 315_532_800_000_000_000
"""1980: recordings with earlier stamps count from their own start and know no time of day."""


def typed_time(text: str, picture: Snapshot, pinned_ns: int | None = None, zone: tzinfo | None = None) -> int | str:
    """The time meant, ns; a sentence where there is none. zone: of times of day; None: this machine's."""
    words = " ".join(text.split()).casefold()
    if words in ("start", "end"):
        return picture.start_ns if words == "start" else picture.end_ns
    if words == "a":
        return "No instant A is pinned yet: x pins one." if pinned_ns is None else pinned_ns
    of_day = _OF_DAY.fullmatch(words)
    if of_day is not None:
        return _of_day(of_day, picture, zone)
    base = picture.t_ns if words[:1] in ("+", "-") else picture.start_ns
    length = words.removeprefix("+").removeprefix("-").strip()
    amount = _AMOUNT.fullmatch(length.removesuffix("s").strip()) or _SPOKEN.fullmatch(length)
    if amount is None:
        return f'"{text.strip()}" is no time. Write {_FORMS}.'
    hours, minutes, seconds = amount.groups()
    ns = (int(hours or 0) * 3600 + int(minutes or 0) * 60) * 1_000_000_000 + _ns(seconds or "0")
    return _inside(base - ns if words.startswith("-") else base + ns, text, picture)


def _of_day(found: re.Match[str], picture: Snapshot, zone: tzinfo | None) -> int | str:
    if picture.start_ns < _LEAST_WALL_NS:
        return "This recording does not know the time of day. Write seconds or m:ss from its start."
    hour, minute, seconds = int(found[1]), int(found[2]), found[3] or "0"
    if hour > 23 or minute > 59 or float(seconds) >= 60:
        return f'"{found[0]}" is no time of day.'
    start = datetime.fromtimestamp(picture.start_ns // 1_000_000_000, zone)
    day = start.replace(hour=hour, minute=minute, second=0, microsecond=0)
    t_ns = int(day.timestamp()) * 1_000_000_000 + _ns(seconds)
    if t_ns < picture.start_ns and t_ns < picture.start_ns // 60_000_000_000 * 60_000_000_000:
        t_ns = int((day + timedelta(days=1)).timestamp()) * 1_000_000_000 + _ns(seconds)
    return _inside(t_ns, found[0], picture)


def _ns(seconds: str) -> int:
    whole, _, part = seconds.partition(".")
    return int(whole) * 1_000_000_000 + int(part[:9].ljust(9, "0"))


def _inside(t_ns: int, text: str, picture: Snapshot) -> int | str:
    if picture.start_ns <= t_ns <= picture.end_ns:
        return t_ns
    where = "before the start" if t_ns < picture.start_ns else "after the end"
    return f'"{text.strip()}" lies {where} of the recording.'
