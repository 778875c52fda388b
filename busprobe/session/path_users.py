"""Who uses a signal, and what each says at an instant: derived signals, checks, triggers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from busprobe.bench.model import Check, Expect, Follows, Invariant
from busprobe.bench.nodes import signals_of
from busprobe.engine.history import History, Past
from busprobe.engine.plan import Plan
from busprobe.session.picture import derived_text, kind_words
from busprobe.session.snapshot import NOT_SEEN, User
from busprobe.timeline import ASLEEP, FALSE, NEVER, TRUE, UNKNOWN


def users_of(
    name: str, plan: Plan, histories: Mapping[str, History], t_ns: int, overdue: Mapping[str, int]
) -> list[User]:
    """Everything of the bench file that uses a signal, in its order.

    overdue: signals whose newest value is too old already, though nobody knows yet whether they are lost.
    """

    def using(kind: str, title: str, text: str, key: str, names: Sequence[str]) -> User:
        history = histories.get(key)
        if history is not None and history.upto_ns <= t_ns and any(one in overdue for one in names):
            return User(kind, title, f"{text}: unknown", UNKNOWN)
        return _user(kind, title, text, history, t_ns)

    users = []
    for made in plan.bench.derived:
        if name in _named(plan, made.name):
            names = _named(plan, made.name)
            users.append(using("derived", made.name, derived_text(made), made.name, names))
    for i, check in enumerate(plan.checks):
        if name not in check.signals:
            continue
        first, second = kind_words(check.check)
        when, then = texts_of(check.check)
        if check.when is not None:
            names = signals_of(check.when)
            users.append(using("check", check.check.name, f"{first} {when}", f"check {i} when", names))
        user = using("check", check.check.name, f"{second} {then}", f"check {i} then", signals_of(check.then))
        if isinstance(check.check, Invariant) and user.code is not None and user.code <= TRUE:
            said = "VIOLATED" if user.code == TRUE else "obeyed"
            user = User("check", user.name, f"{second} {then}: {said}", FALSE if user.code == TRUE else TRUE)
        users.append(user)
    for i, trigger in enumerate(plan.triggers):
        if name in trigger.signals:
            text, names = trigger.trigger.on.text, signals_of(trigger.on)
            users.append(using("trigger", trigger.trigger.name, f"on {text}", f"trigger {i} on", names))
    return users


def _named(plan: Plan, derived: str) -> tuple[str, ...]:
    return signals_of(plan.derived[derived].node)


def texts_of(check: Check) -> tuple[str, str]:
    """What puts a check to the test, and what has to hold."""
    match check:
        case Expect():
            return check.when.text, check.expect.text
        case Follows():
            return check.when.text, check.follows.text
        case Invariant():
            return "" if check.given is None else check.given.text, check.condition.text


def _user(kind: str, name: str, text: str, history: History | None, t_ns: int) -> User:
    if history is None:
        return User(kind, name, text)
    past = history.past
    place = past.index_at(t_ns)
    return User(kind, name, f"{text}: {condition_word(past, place)}", int(past.code[place]))


def condition_word(past: Past, place: int) -> str:
    """What a condition says at a change point."""
    code = int(past.code[place])
    if code != ASLEEP:
        return {TRUE: "on", FALSE: "off"}.get(code, "unknown")
    is_whole = past.t_ns[0] == NEVER
    return NOT_SEEN if is_whole and not (past.code[: place + 1] <= TRUE).any() else "asleep"
