"""The van's signal database, written out as a DBC file.

    BO_ 241 BrakeStatus: 4 ABS
     SG_ PedalSwitch : 0|2@1+ (1,0) [0|3] "" BCM
    VAL_ 241 PedalSwitch 0 "Released" 1 "Pressed" 2 "Error" 3 "Not available" ;

DBC as read by the open library cantools; bit 31 of a BO_ number marks a 29-bit identifier.
"""

from __future__ import annotations

from collections.abc import Iterator

from busprobe.van.catalogue import MESSAGES, SENDERS
from busprobe.van.spec import Guard, MessageSpec, SignalSpec

_HEAD = """VERSION "patrol van, body bus, 2026-01"

NS_ :

BS_:

BU_: {units}
"""
_ATTRIBUTES = """
BA_DEF_ "BusType" STRING ;
BA_DEF_ BO_ "GenMsgCycleTime" INT 0 65535;
BA_DEF_ BO_ "GenMsgSendType" ENUM "Cyclic","OnChange","CyclicAndOnChange";
BA_DEF_DEF_ "BusType" "CAN";
BA_DEF_DEF_ "GenMsgCycleTime" 0;
BA_DEF_DEF_ "GenMsgSendType" "Cyclic";
"""
_SEND_TYPES = ("Cyclic", "OnChange", "CyclicAndOnChange")
_GUARD_COMMENTS = {
    Guard.COUNTER: "Counts the frames of this message and begins again at 0.",
    Guard.XOR: "Exclusive or of all other bytes, of the identifier's low byte and of 0xA5.",
    Guard.SUM: "Low byte of the sum of all other bytes and of the identifier's low byte.",
}


def database_text() -> str:
    """The whole file."""
    parts = [_HEAD.format(units=" ".join(SENDERS))]
    parts += [_message(m) for m in MESSAGES]
    parts.append("")
    parts += _comments()
    parts.append(_ATTRIBUTES.rstrip())
    parts += _attributes()
    parts.append("")
    parts += _values()
    return "\n".join(parts) + "\n"


def _number(message: MessageSpec) -> int:
    return message.identifier | (1 << 31 if message.is_extended else 0)


def _message(message: MessageSpec) -> str:
    lines = [f"BO_ {_number(message)} {message.name}: {message.length} {message.sender}"]
    lines += [_signal(message, s) for s in message.signals]
    return "\n".join(lines) + "\n"


def _signal(message: MessageSpec, signal: SignalSpec) -> str:
    low, high = (raw * signal.scale + signal.offset for raw in signal.raw_limits)
    mux = " M" if signal.selects else "" if signal.only_when is None else f" m{signal.only_when}"
    receiver = "IC" if message.sender == "BCM" else "BCM"
    return (
        f" SG_ {signal.name}{mux} : {signal.start}|{signal.bits}@{0 if signal.big_endian else 1}"
        f"{'-' if signal.signed else '+'} ({signal.scale:g},{signal.offset:g}) [{low:.10g}|{high:.10g}]"
        f' "{signal.unit}" {receiver}'
    )


def _comments() -> Iterator[str]:
    for unit, (what, _) in SENDERS.items():
        yield f'CM_ BU_ {unit} "{what}.";'
    for message in MESSAGES:
        if message.comment:
            yield f'CM_ BO_ {_number(message)} "{message.comment}";'
        for signal in message.signals:
            comment = signal.comment or (isinstance(signal.source, Guard) and _GUARD_COMMENTS[signal.source])
            if comment:
                yield f'CM_ SG_ {_number(message)} {signal.name} "{comment}";'


def _attributes() -> Iterator[str]:
    for message in MESSAGES:
        if message.cycle_ms:
            yield f'BA_ "GenMsgCycleTime" BO_ {_number(message)} {message.cycle_ms};'
        if message.on_change:
            yield f'BA_ "GenMsgSendType" BO_ {_number(message)} {_SEND_TYPES.index(message.send_type)};'


def _values() -> Iterator[str]:
    for message in MESSAGES:
        for signal in message.signals:
            if signal.labels:
                table = " ".join(f'{raw} "{label}"' for raw, label in signal.labels.items())
                yield f"VAL_ {_number(message)} {signal.name} {table} ;"
