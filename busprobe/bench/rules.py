"""Checks and triggers of a bench file."""

from __future__ import annotations

from busprobe.bench.model import Check, Expect, Follows, Invariant, Text, Trigger
from busprobe.bench.section import Section, refuse_twice
from busprobe.bench.syntax import is_event, parse

_COMMON = ("name", "settle", "min_full")
KEYS = {
    "expect": (*_COMMON, "when", "expect", "within", "not_before", "hold", "already"),
    "follows": (*_COMMON, "when", "follows", "on_within", "off_within", "hold", "already"),
    "never": (*_COMMON, "never", "given"),
    "always": (*_COMMON, "always", "given"),
}
"""Kind of check -> its keys."""
_ALL_KEYS = tuple(dict.fromkeys(key for keys in KEYS.values() for key in keys))
_KINDS_HINT = 'A check has "when" and "expect", or "follows" and "when", or "never", or "always".'

TRIGGER_KEYS = ("name", "on", "keep")
KEEP_KEYS = ("before", "after")


def read_checks(root: Section) -> tuple[Check, ...]:
    return tuple(_read_check(section) for section in refuse_twice(root.tables("check", "check"), "checks"))


def read_triggers(root: Section) -> tuple[Trigger, ...]:
    return tuple(_read_trigger(section) for section in refuse_twice(root.tables("trigger", "trigger"), "triggers"))


def _read_check(section: Section) -> Check:
    kind = _kind(section)
    _refuse_foreign(section, kind)
    match kind:
        case "expect":
            return _read_expect(section)
        case "follows":
            return _read_follows(section)
        case _:
            return Invariant(
                name=section.must_text("name"),
                kind=kind,
                condition=section.must_expression(kind),
                given=_lasting(section, "given") if "given" in section else None,
                settle_ns=section.duration("settle") or 0,
                min_full=section.whole("min_full", least=1) or 1,
                origin=section.origin(),
            )


def _kind(section: Section) -> str:
    """Which of the four kinds the keys make it."""
    named = [kind for kind in KEYS if kind in section]
    if "when" in section and not {"expect", "follows"} & set(named):
        named.append("when")
    if len(named) > 1:
        named.sort(key=list(section.data).index)
        message = f'{section.title} has both "{named[0]}" and "{named[1]}": it can be only one kind of check.'
        raise section.error(message, hint=_KINDS_HINT)
    if named:
        return "expect" if named[0] == "when" else named[0]
    _refuse_foreign(section, None)
    raise section.error(f'{section.title} has neither "when" nor "never".', hint=_KINDS_HINT)


def _refuse_foreign(section: Section, kind: str | None) -> None:
    """Keys that no check has, and keys of another kind."""
    section.refuse_unknown(_ALL_KEYS)
    for key in section.data if kind else ():
        if key not in KEYS[kind or ""]:
            raise section.key_error(f'"{key}" does not go with "{kind}" in {section.title}.', key)


def _read_expect(section: Section) -> Expect:
    when = section.must_expression("when")
    expect = section.must_expression("expect")
    within_ns = section.must_duration("within")
    not_before_ns = section.duration("not_before") or 0
    if not_before_ns > within_ns:
        not_before, within = section.text("not_before"), section.text("within")
        raise section.error(f'"not_before" ("{not_before}") is later than "within" ("{within}").', "not_before")
    hold = section.text("hold")
    if hold == "while when" and is_event(parse(when)):
        raise section.error('"hold" cannot be "while when", as "when" is an event: give it a duration.', "hold")
    if hold and hold != "while when" and not hold[0].isdigit():
        raise section.wrong_type("hold", '"while when" or a duration, such as "2 s"')
    return Expect(
        name=section.must_text("name"),
        when=when,
        expect=expect,
        within_ns=within_ns,
        not_before_ns=not_before_ns,
        hold_ns=None if hold == "while when" else section.duration("hold", above_zero=True),
        hold_while_when=hold == "while when",
        settle_ns=section.duration("settle") or 0,
        already_counts=_already_counts(section),
        min_full=section.whole("min_full", least=1) or 1,
        origin=section.origin(),
    )


def _read_follows(section: Section) -> Follows:
    if "hold" in section and section.data["hold"] != "while when":
        raise section.wrong_type("hold", '"while when" where "follows" is given')
    return Follows(
        name=section.must_text("name"),
        when=_lasting(section, "when"),
        follows=_lasting(section, "follows"),
        on_within_ns=section.must_duration("on_within"),
        off_within_ns=section.must_duration("off_within"),
        hold_while_when="hold" in section,
        settle_ns=section.duration("settle") or 0,
        already_counts=_already_counts(section),
        min_full=section.whole("min_full", least=1) or 1,
        origin=section.origin(),
    )


def _lasting(section: Section, key: str) -> Text:
    """An expression that is no event."""
    text = section.must_expression(key)
    if is_event(parse(text)):
        raise section.error(f'"{key}" of {section.title} must last; it is an event.', key)
    return text


def _already_counts(section: Section) -> bool:
    if "already" in section and section.data["already"] != "counts":
        raise section.wrong_type("already", '"counts"')
    return "already" in section


def _read_trigger(section: Section) -> Trigger:
    section.refuse_unknown(TRIGGER_KEYS)
    keep = section.table("keep", f'"keep" of {section.title}')
    if keep:
        keep.refuse_unknown(KEEP_KEYS)
    return Trigger(
        name=section.must_text("name"),
        on=section.must_expression("on"),
        keep_before_ns=(keep.duration("before") or 0) if keep else 0,
        keep_after_ns=(keep.duration("after") or 0) if keep else 0,
        origin=section.origin(),
    )
