"""Who uses a signal, and what each says at an instant: derived signals, checks, triggers."""

from __future__ import annotations

from collections.abc import Mapping

from busprobe.bench.model import Check, Expect, Follows, Invariant
from busprobe.bench.nodes import Node, signals_of
from busprobe.engine.history import History, Past
from busprobe.engine.plan import Plan
from busprobe.session.made_now import MadeNow
from busprobe.session.picture import derived_text, kind_words
from busprobe.session.snapshot import NOT_SEEN, User
from busprobe.timeline import ASLEEP, FALSE, NEVER, TRUE, UNKNOWN


def users_of(name: str, plan: Plan, histories: Mapping[str, History], t_ns: int, made: MadeNow) -> list[User]:
    """Everything of the bench file that uses a signal, in its order.

    made: of signals whose newest value is too old already, though nobody knows yet whether they are lost.
    """

    def using(kind: str, title: str, text: str, key: str, node: Node | None = None) -> User:
        """key: of its history. node: of a condition; a derived signal has its own."""
        history, names = histories.get(key), signals_of(plan.derived[key].node if node is None else node)
        past = None if history is None else history.past
        if history is not None and history.upto_ns <= t_ns and any(one in made.overdue for one in names):
            past = made.past(key, node)
            if past is None or past.code[past.index_at(t_ns)] > TRUE:
                return User(kind, title, f"{text}: unknown", UNKNOWN)
        elif history is not None and made.is_behind(key, node):
            past = made.past(key, node) or past  # what takes more than an instant says what logic knows
        return _user(kind, title, text, past, t_ns)

    users = []
    for one in plan.bench.derived:
        if name in signals_of(plan.derived[one.name].node):
            users.append(using("derived", one.name, derived_text(one), one.name))
    for i, check in enumerate(plan.checks):
        if name not in check.signals:
            continue
        first, second = kind_words(check.check)
        when, then = texts_of(check.check)
        if check.when is not None:
            users.append(using("check", check.check.name, f"{first} {when}", f"check {i} when", check.when))
        user = using("check", check.check.name, f"{second} {then}", f"check {i} then", check.then)
        if isinstance(check.check, Invariant) and user.code is not None and user.code <= TRUE:
            said = "VIOLATED" if user.code == TRUE else "obeyed"
            user = User("check", user.name, f"{second} {then}: {said}", FALSE if user.code == TRUE else TRUE)
        users.append(user)
    for i, trigger in enumerate(plan.triggers):
        if name in trigger.signals:
            text = f"on {trigger.trigger.on.text}"
            users.append(using("trigger", trigger.trigger.name, text, f"trigger {i} on", trigger.on))
    return users


def texts_of(check: Check) -> tuple[str, str]:
    """What puts a check to the test, and what has to hold."""
    match check:
        case Expect():
            return check.when.text, check.expect.text
        case Follows():
            return check.when.text, check.follows.text
        case Invariant():
            return "" if check.given is None else check.given.text, check.condition.text


def _user(kind: str, name: str, text: str, past: Past | None, t_ns: int) -> User:
    if past is None:
        return User(kind, name, text)
    place = past.index_at(t_ns)
    return User(kind, name, f"{text}: {condition_word(past, place)}", int(past.code[place]))


def condition_word(past: Past, place: int) -> str:
    """What a condition says at a change point."""
    code = int(past.code[place])
    if code != ASLEEP:
        return {TRUE: "on", FALSE: "off"}.get(code, "unknown")
    is_whole = past.t_ns[0] == NEVER
    return NOT_SEEN if is_whole and not (past.code[: place + 1] <= TRUE).any() else "asleep"
