"""Who uses a signal: checks, triggers and derived signals, each with what it says now.

What they say changes seldom: the lines of the picture before are kept.
"""

from __future__ import annotations

from functools import lru_cache

from busprobe.session.snapshot import NOT_SEEN, User
from busprobe.timeline import ASLEEP, FALSE, TRUE, UNKNOWN
from busprobe.tui.view.spans import Line, Span, Tone, fit
from busprobe.tui.view.values import ASLEEP_SIGN, OFF_SIGN, ON_SIGN, UNKNOWN_SIGN, UNSEEN_SIGN
from busprobe.tui.view.wrapped import Told, lines_wanted, shared, wrapped

_SHAPES = {
    TRUE: Span(ON_SIGN, Tone.ON),
    FALSE: Span(OFF_SIGN),
    UNKNOWN: Span(UNKNOWN_SIGN, Tone.WARN),
    ASLEEP: Span(ASLEEP_SIGN, Tone.DIM),
}

_NAME_AT = 19
"""Column at which a user's name begins."""


def shape(code: int | None, *, is_seen: bool = True) -> Span:
    """What a condition says, as a shape: on, off, unknown, asleep, not seen yet."""
    if code == ASLEEP and not is_seen:
        return Span(UNSEEN_SIGN, Tone.DIM)
    return Span(" ") if code is None else _SHAPES[code]


@lru_cache(16)
def users_block(users: tuple[User, ...], width: int, room: int) -> tuple[Line, ...]:
    """Two lines each where there is room for all, else one, and more for those that are cut while room lasts."""
    if not users:
        return ((Span("No check, trigger or derived signal uses it.", Tone.DIM),),)
    pairs = _in_pairs(users, width)
    if len(pairs) < room:
        return ((Span("Used by", Tone.HEAD),), *pairs)
    is_cut = len(users) < room and not are_whole(users, width, room - 1)
    more = (Span("   in full: ", Tone.DIM), Span("PgDn", Tone.KEY)) if is_cut else ()
    return ((Span("Used by", Tone.HEAD), *more), *users_lines(users, width, room - 1))


def _in_pairs(users: tuple[User, ...], width: int) -> list[Line]:
    """Two lines each, or more: what it says now and its name, then its expression."""
    return [line for user in users for line in _pair(user, width)]


def _pair(user: User, width: int) -> list[Line]:
    text: Line = (Span(f"    {parted(user)[1]}", Tone.DIM),)
    lines = [*wrapped(_spans(user), width, _NAME_AT), *wrapped(text, width, 6)]
    return [tuple(fit(line, width)) for line in lines]


def _told(user: User, width: int) -> Told:
    return Told(_spans(user, with_text=True), lambda: _pair(user, width))


@lru_cache(16)
def are_whole(users: tuple[User, ...], width: int, room: int) -> bool:
    """Whether `room` lines hold all of them, and nothing is cut."""
    return len(users) <= room and lines_wanted([_told(user, width) for user in users], width) <= room


@lru_cache(16)
def users_lines(users: tuple[User, ...], width: int, room: int) -> tuple[Line, ...]:
    """A line each or more, and how many there are beyond the room; those are told by `users_rest`."""
    if len(users) <= room:
        return tuple(shared([_told(user, width) for user in users], width, room))
    shown = max(room - 1, 1)
    more: Line = (Span(f"  and {len(users) - shown} more that use it: ", Tone.DIM), Span("PgDn", Tone.KEY))
    return (*(user_line(user, width, with_text=True) for user in users[:shown]), tuple(fit(more, width)))


@lru_cache(16)
def users_rest(users: tuple[User, ...], width: int) -> tuple[Line, ...]:
    """All users and nothing cut, for the end of the drawing."""
    return ((), (Span(f"Used by, all {len(users)}", Tone.HEAD),), *_in_pairs(users, width))


def parted(user: User) -> tuple[str, str]:
    """What a user says now, and its expression: ("on", "when gear == 'R'")."""
    text, between, now = user.text.rpartition(": ")
    return (now, text) if between and user.code is not None else ("", user.text)


def user_line(user: User, width: int, *, with_text: bool = False) -> Line:
    """A check, trigger or derived signal: first what it says now, for a long text is cut."""
    return tuple(fit(_spans(user, with_text=with_text), width))


def _spans(user: User, *, with_text: bool = False) -> Line:
    now, text = parted(user)
    tone = Tone.WARN if user.code == UNKNOWN else Tone.STRONG
    sign = shape(user.code, is_seen=now != NOT_SEEN)
    line = (sign, Span(f" {now:<8}", tone), Span(f" {user.kind:<8}", Tone.DIM), Span(user.name))
    return (*line, Span(f"   {text}", Tone.DIM)) if with_text else line
