"""Who uses a signal: checks, triggers and derived signals, each with what it says now."""

from __future__ import annotations

from busprobe.session.snapshot import NOT_SEEN, User
from busprobe.timeline import ASLEEP, FALSE, TRUE, UNKNOWN
from busprobe.tui.view.spans import Line, Span, Tone, fit
from busprobe.tui.view.values import ASLEEP_SIGN, OFF_SIGN, ON_SIGN, UNKNOWN_SIGN, UNSEEN_SIGN

_SHAPES = {
    TRUE: Span(ON_SIGN, Tone.ON),
    FALSE: Span(OFF_SIGN),
    UNKNOWN: Span(UNKNOWN_SIGN, Tone.WARN),
    ASLEEP: Span(ASLEEP_SIGN, Tone.DIM),
}


def shape(code: int | None, *, is_seen: bool = True) -> Span:
    """What a condition says, as a shape: on, off, unknown, asleep, not seen yet."""
    if code == ASLEEP and not is_seen:
        return Span(UNSEEN_SIGN, Tone.DIM)
    return Span(" ") if code is None else _SHAPES[code]


def users_block(users: tuple[User, ...], width: int, room: int) -> list[Line]:
    """Two lines each where there is room for all, else one."""
    if not users:
        return [(Span("No check, trigger or derived signal uses it.", Tone.DIM),)]
    heading: Line = (Span("Used by", Tone.HEAD),)
    if 2 * len(users) < room:
        return [heading, *_in_pairs(users, width)]
    return [heading, *users_lines(users, width, room - 1)]


def _in_pairs(users: tuple[User, ...], width: int) -> list[Line]:
    """Two lines each: what it says now and its name, then its expression."""
    pairs = [(user_line(user, width), (Span(f"    {parted(user)[1]}", Tone.DIM),)) for user in users]
    return [tuple(fit(line, width)) for pair in pairs for line in pair]


def users_lines(users: tuple[User, ...], width: int, room: int) -> list[Line]:
    """A line each, and how many there are more than fit; those are told by `users_rest`."""
    if len(users) <= room:
        return [user_line(user, width, with_text=True) for user in users]
    shown = max(room - 1, 1)
    more: Line = (Span(f"  and {len(users) - shown} more that use it: ", Tone.DIM), Span("PgDn", Tone.KEY))
    return [*(user_line(user, width, with_text=True) for user in users[:shown]), tuple(fit(more, width))]


def users_rest(users: tuple[User, ...], width: int, room: int) -> list[Line]:
    """All users, for the end of the drawing; nothing where `room` lines hold them."""
    if len(users) <= room:
        return []
    return [(), (Span(f"Used by, all {len(users)}", Tone.HEAD),), *_in_pairs(users, width)]


def parted(user: User) -> tuple[str, str]:
    """What a user says now, and its expression: ("on", "when gear == 'R'")."""
    text, between, now = user.text.rpartition(": ")
    return (now, text) if between and user.code is not None else ("", user.text)


def user_line(user: User, width: int, *, with_text: bool = False) -> Line:
    """A check, trigger or derived signal: first what it says now, for a long text is cut."""
    now, text = parted(user)
    tone = Tone.WARN if user.code == UNKNOWN else Tone.STRONG
    sign = shape(user.code, is_seen=now != NOT_SEEN)
    line = (sign, Span(f" {now:<8}", tone), Span(f" {user.kind:<8}", Tone.DIM), Span(user.name))
    return tuple(fit((*line, Span(f"   {text}", Tone.DIM)) if with_text else line, width))
