"""Everything between the wire and the lamp for one signal, at one instant."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from busprobe.analysis.frame_tally import FrameTally, row_key
from busprobe.analysis.intervals import Sending
from busprobe.bench.model import Invariant
from busprobe.bench.units import duration_text
from busprobe.decode.layout import Database, MessageLayout, SignalLayout
from busprobe.decode.messages import decode_rows
from busprobe.engine.history import History
from busprobe.engine.plan import Plan
from busprobe.engine.signal_plan import LineTap, MessageTap, ObdTap, SignalPlan, Source
from busprobe.engine.steps import layout_decimals, number_text
from busprobe.engine.why import BOX_DOWN, UNREADABLE
from busprobe.frames import EXTENDED, FD, FrameBatch, Tail
from busprobe.grown import totals_of
from busprobe.obd_identifiers import LAST_11
from busprobe.report.quantities import identifier
from busprobe.results import CheckResult
from busprobe.session.ages import age_text
from busprobe.session.line_path import line_stages
from busprobe.session.made_now import MadeNow
from busprobe.session.obd_path import obd_way
from busprobe.session.origin import Origin, tap_text
from busprobe.session.path_users import texts_of, users_of
from busprobe.session.polls import Polls
from busprobe.session.sendings import sending_of
from busprobe.session.snapshot import BitField, ClosedBox, FrameDetail, SignalNow, SignalPath, Stage
from busprobe.timeline import NEVER, TRUE, UNKNOWN


def bit_numbers(layout: SignalLayout) -> tuple[int, ...]:
    """DBC bit numbers of a signal, most significant first."""
    if not layout.big_endian:
        return tuple(range(layout.start + layout.length - 1, layout.start - 1, -1))
    bits, bit = [], layout.start
    for _ in range(layout.length):
        bits.append(bit)
        bit = bit + 15 if bit % 8 == 0 else bit - 1
    return tuple(bits)


def frame_detail(
    tally: FrameTally, databases: Mapping[str, Sequence[Database]], channel: str, identifier: int, is_extended: bool
) -> FrameDetail | None:
    """The newest frame of an identifier and the signals in it. `databases` by channel name."""
    place = _row(tally, channel, identifier, is_extended)
    if place is None:
        return None
    rows = tally.rows
    length = int(rows.length[place])
    payload = rows.words[place].astype("<u8").tobytes()[:length]
    changed = (rows.changed[place] | rows.changed_before[place]).astype("<u8").tobytes()[:length]
    found = [d.find(identifier, is_extended) for d in databases.get(channel, ())]
    message = next((m for m in found if m is not None), None)
    t_ns = int(rows.last_ns[place])
    if message is None:
        return FrameDetail(channel, identifier, is_extended, "", t_ns, payload, changed, ())
    return FrameDetail(
        channel, identifier, is_extended, message.name, t_ns, payload, changed,
        tuple(_fields(message, tally, place)), message.comment or "",
    )  # fmt: skip


def signal_path(
    now: SignalNow,
    origin: Origin | None,
    plan: Plan,
    tally: FrameTally,
    histories: Mapping[str, History],
    checks: Sequence[CheckResult],
    t_ns: int,
    channel_of: Mapping[str, str],
    polls: Polls,
    made: MadeNow,
) -> SignalPath:
    """The way of one signal from the source that counts.

    channel_of: by bus, the channel's name in the tally. made: of signals of which one is too old.
    """
    users = tuple(users_of(now.name, plan, histories, t_ns, made))
    boxes = tuple(_closed_boxes(now.name, plan, checks))
    signal = plan.signals.get(now.name)
    if signal is None or origin is None:
        stages = [Stage("Made from", now.source), Stage("Signal", now.text, "", now.code)]
        return SignalPath(now, tuple(stages), users=users, boxes=boxes)
    source = signal.sources[origin.place]
    payload: bytes | None = None
    bits: tuple[int, ...] = ()
    if isinstance(source.tap, LineTap):
        tap = source.tap
        down_ns = max(origin.past.since(t_ns, why) for why in (BOX_DOWN, UNREADABLE))
        wire = polls.at(tap.box.name, tap.line, t_ns, down_ns)
        stages = line_stages(source, tap, now, wire, t_ns)
    elif isinstance(source.tap, ObdTap):
        past = origin.past
        stages, payload, bits = obd_way(source.tap, past.request_at(t_ns), past.answer_at(t_ns), t_ns)
    else:
        channel = channel_of.get(source.tap.bus, source.tap.bus)
        stages, payload, bits = _message_way(source, source.tap, now, tally, channel, t_ns)
    choice = [_choice(signal, origin)] if len(signal.sources) > 1 else []
    stages = [*choice, *stages, _freshness(now, origin, source, t_ns), _signal(now)]
    return SignalPath(now, tuple(stages), payload, bits, users, boxes)


def _choice(signal: SignalPlan, origin: Origin) -> Stage:
    """Which of several sources counts, and why no earlier one."""
    others = [tap_text(source) for i, source in enumerate(signal.sources) if i != origin.place]
    detail = (
        f"instead of {origin.instead}" if origin.instead else f"first of {len(others) + 1}; else {', '.join(others)}"
    )
    return Stage("Source", tap_text(signal.sources[origin.place]), detail)


def _message_way(
    source: Source, tap: MessageTap, now: SignalNow, tally: FrameTally, channel: str, t_ns: int
) -> tuple[list[Stage], bytes | None, tuple[int, ...]]:
    """Stages up to the value, payload of the newest frame, bit numbers in it."""
    message, layout = tap.message, tap.layout
    bits = bit_numbers(layout)
    order = "highest byte first" if layout.big_endian else "lowest byte first"
    where = f"start bit {layout.start}, {layout.length} bits, {order}"
    place = _row(tally, channel, message.identifier, message.is_extended)
    if place is None:
        return [Stage("Frame", "none yet", f"{channel} {_hex(message)} {message.name}")], None, bits
    rows = tally.rows
    length = int(rows.length[place])
    payload = rows.words[place].astype("<u8").tobytes()[:length]
    newest = f"{_rhythm(tally, place, message)}newest {age_text(t_ns - int(rows.last_ns[place]))} ago"
    field = next(f for f in _fields(message, tally, place) if f.name == layout.name)
    digits = "".join(str(payload[b // 8] >> b % 8 & 1) if b // 8 < length else "." for b in bits)
    kind = "two's complement" if layout.signed else "IEEE 754" if layout.is_float else "unsigned"
    stages = [
        Stage(
            "Frame",
            payload.hex(" ").upper(),
            f"{channel} {_hex(message)} {message.name}, {newest}",
        ),
        Stage("Bits", digits, where),
        Stage("Raw", "not in this frame" if field.raw is None else f"{field.raw}", kind),
        Stage("Value", field.text, _conversion(source, layout, field, now)),
    ]
    return stages, payload, bits


def _conversion(source: Source, layout: SignalLayout, field: BitField, now: SignalNow) -> str:
    """How the value comes of raw: "raw × 0.1 + -40", or by the table of labels: "1 = Reverse → R"."""
    label = None if layout.is_float or field.raw is None else layout.label(int(field.raw))
    if label is None:
        then = "" if (source.scale, source.offset) == (1.0, 0.0) else f", then × {source.scale:g} + {source.offset:g}"
        return f"raw × {layout.scale:g} + {layout.offset:g}{then}"
    return f"{field.raw} = {label}" + (f" → {now.text}" if now.code <= TRUE and now.text != label else "")


def _rhythm(tally: FrameTally, place: int, message: MessageLayout) -> str:
    """How it is sent, as far as known: "every 20 ms, ", "sent on change, "."""
    rows = tally.rows
    sending = sending_of(int(rows.count[place]), rows.early[place], message.cycle_time_ns)
    if sending is Sending.ON_CHANGE:
        return "sent on change, "
    period_ns = round(int(rows.period_ns[place]), -6)
    if not period_ns:
        return ""
    return f"{'' if sending is Sending.CYCLIC else 'so far '}every {age_text(period_ns)}, "


def _freshness(now: SignalNow, origin: Origin, source: Source, t_ns: int) -> Stage:
    age = "never seen" if now.age_ns is None else f"{age_text(now.age_ns)} old"
    if now.code == UNKNOWN and origin.why:
        age = f"{origin.why}, {age}"
    age_of = origin.past.age
    if now.max_age_ns is not None:
        learnt = " (learnt)" if age_of.from_ns > NEVER else ""
        limit = f"unknown once older than {duration_text(now.max_age_ns)}{learnt}"
    elif isinstance(source.tap, LineTap):
        limit = "known while its box answers"
    elif age_of.is_fixed and age_of.ns is None and age_of.from_ns <= t_ns:
        limit = "holds while its bus is awake: its message is sent on change (learnt)"
    else:
        limit = "holds while its bus is awake, unless its message turns out to be cyclic"
    return Stage("Freshness", age, limit, TRUE if now.code <= TRUE else now.code)


def _signal(now: SignalNow) -> Stage:
    return Stage("Signal", now.text, now.name, now.code)


def _closed_boxes(name: str, plan: Plan, checks: Sequence[CheckResult]) -> list[ClosedBox]:
    boxes = []
    for check, result in zip(plan.checks, checks, strict=True):
        if isinstance(check.check, Invariant) or name not in check.signals:
            continue
        when, then = texts_of(check.check)
        last = totals_of(result.occurrences).newest
        cause = None if last is None else last.t_ns
        effect = None if last is None or last.latency_ns is None else last.t_ns + last.latency_ns
        boxes.append(ClosedBox(when, cause, then, effect, check.check.name, result.limit_ns))
    return boxes


def _hex(message: MessageLayout) -> str:
    if not message.is_extended and message.identifier > LAST_11:  # its database is missing
        return "?"
    return identifier(message.identifier, message.is_extended)


def _row(tally: FrameTally, channel: str, identifier: int, is_extended: bool) -> int | None:
    if channel not in tally.channels:
        return None
    key = row_key(tally.channels.index(channel), identifier, is_extended)
    # In a list: numpy would let other threads in while it searches.
    keys = tally.rows.key.tolist()
    return keys.index(key) if key in keys else None


def _fields(message: MessageLayout, tally: FrameTally, place: int) -> list[BitField]:
    """The message's signals in the newest frame."""
    rows = tally.rows
    words = rows.words[place]
    tail = Tail(np.array([0]), words[None, 1:]) if words[1:].any() else None
    one = FrameBatch(
        rows.last_ns[place : place + 1], ("",), np.zeros(1, np.uint8),
        np.array([message.identifier], np.uint32),
        np.array([EXTENDED * message.is_extended | FD * (tail is not None)], np.uint8),
        rows.length[place : place + 1], words[:1], tail,
    )  # fmt: skip
    fields = []
    for samples in decode_rows(one, np.array([0]), message):
        layout = samples.layout
        here = samples.present is None or bool(samples.present[0])
        raw = samples.raw[0].item()
        label = layout.label(int(raw)) if not layout.is_float else None
        number = number_text(float(samples.value[0]), layout_decimals(layout))
        text = label or number + (f" {layout.unit}" if layout.unit else "")
        fields.append(BitField(layout.name, bit_numbers(layout), raw if here else None, text if here else "-"))
    return fields
