"""Buses, input boxes with their lines, and diagnostic requests of a bench file."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from busprobe.bench.model import Bus, InputBox, Line, Obd
from busprobe.bench.names import PID, name_fault
from busprobe.bench.section import Section, refuse_twice
from busprobe.bench.units import UnitError, convert, duration_text, quantity
from busprobe.errors import counted, nearest

BUS_KEYS = (
    "name",
    "interface",
    "channel",
    "bitrate",
    "data_bitrate",
    "listen_only",
    "databases",
    "recorded_as",
    "uncertainty",
)
BOX_KEYS = ("name", "driver", "port", "period", "line")
LINE_KEYS = ("name", "number", "active", "debounce", "analogue", "above", "below_again", "wiring")
OBD_KEYS = ("bus", "poll", "every")
DRIVERS = ("modbus", "modem-lines", "text-lines", "recorded")
""""recorded": lines that exist only in recordings."""

PIDS_PER_REQUEST = 6
MOST_REQUESTS_PER_S = 10


def read_buses(root: Section) -> tuple[Bus, ...]:
    buses = []
    for section in refuse_twice(root.tables("bus", "bus"), "buses"):
        options = section.options(BUS_KEYS)
        channel = section.texts("channel", or_whole=True)
        if len(channel) > 1:
            raise section.wrong_type("channel", "one channel")
        buses.append(
            Bus(
                name=_name(section, "bus"),
                interface=section.text("interface"),
                channel=channel[0] if channel else None,
                bitrate=section.whole("bitrate", least=1),
                data_bitrate=section.whole("data_bitrate", least=1),
                listen_only=section.flag("listen_only", True),
                databases=tuple(_beside(root.places.path, file) for file in section.texts("databases")),
                recorded_as=section.texts("recorded_as", or_whole=True),
                uncertainty_ns=section.duration("uncertainty") or 0,
                options=options,
                origin=section.origin(),
            )
        )
    return tuple(buses)


def read_boxes(root: Section, buses: tuple[Bus, ...]) -> tuple[InputBox, ...]:
    boxes = []
    taken = {bus.name: bus for bus in buses}
    for section in refuse_twice(root.tables("inputs", "inputs"), "input boxes"):
        options = section.options(BOX_KEYS)
        name = _name(section, "input box")
        if name in taken:
            message = f'A bus and an input box are both named "{name}"; the bus is on line {taken[name].origin.line}.'
            raise section.error(message, "name")
        driver = section.must_text("driver")
        if driver not in DRIVERS:
            hint = f"Drivers: {_listed(DRIVERS)}."
            raise section.error(f'Unknown driver "{driver}".{nearest(driver, DRIVERS)}', "driver", hint=hint)
        period_ns = section.duration("period", above_zero=True)
        lines = _read_lines(section)
        _refuse_short_debounce(section, lines, InputBox.period_ns if period_ns is None else period_ns)
        boxes.append(
            InputBox(
                name=name,
                driver=driver,
                port=section.text("port"),
                period_ns=InputBox.period_ns if period_ns is None else period_ns,
                lines=tuple(line for _, line in lines),
                options=options,
                origin=section.origin(),
            )
        )
    return tuple(boxes)


def read_obd(root: Section, buses: tuple[Bus, ...]) -> Obd | None:
    section = root.table("obd", "[obd]")
    if section is None:
        return None
    section.refuse_unknown(OBD_KEYS)
    bus = section.must_text("bus")
    names = [b.name for b in buses]
    if bus not in names:
        raise section.error(f'[obd] names the bus "{bus}", which is not there.{nearest(bus, names)}', "bus")
    poll = section.texts("poll")
    for number, pid in enumerate(poll):
        if not PID.fullmatch(pid):
            raise section.item_error("poll", number, f'"{pid}" is no PID: write two hexadecimal digits, such as "0C".')
        if pid.upper() in (p.upper() for p in poll[:number]):
            raise section.item_error("poll", number, f'The PID "{pid}" is polled twice.')
    if poll:
        section.require("every")
    every_ns = section.duration("every", above_zero=True)
    if poll and every_ns:
        _refuse_hurry(section, len(poll), every_ns)
    return Obd(bus, tuple(int(pid, 16) for pid in poll), every_ns, section.origin())


def _read_lines(box: Section) -> list[tuple[Section, Line]]:
    lines = []
    numbers: dict[tuple[int, bool], str] = {}
    for section in refuse_twice(box.tables("line", "inputs.line"), f"lines of {box.title}"):
        section.refuse_unknown(LINE_KEYS)
        line = _read_line(section)
        other = numbers.setdefault((line.number, line.analogue), line.name)
        if other != line.name:
            message = f'The lines "{other}" and "{line.name}" of {box.title} both have the number "{line.number}".'
            raise section.error(message, "number")
        lines.append((section, line))
    return lines


def _read_line(section: Section) -> Line:
    name = _name(section, "line")
    section.require("number")
    active = section.text("active") or "high"
    if active not in ("low", "high"):
        raise section.wrong_type("active", '"low" or "high"')
    analogue = section.flag("analogue", False)
    if not analogue and "above" in section:
        raise section.key_error('"above" is for analogue lines: add analogue = true.', "above")
    above_mv, below_again_mv = _millivolts(section, "above"), _millivolts(section, "below_again")
    if below_again_mv is not None and above_mv is None:
        raise section.key_error(f'{section.title} has "below_again" without "above".', "below_again")
    if above_mv is not None and below_again_mv is not None and below_again_mv > above_mv:
        message = f'"below_again" ("{section.text("below_again")}") is higher than "above" ("{section.text("above")}").'
        raise section.error(message, "below_again")
    return Line(
        name=name,
        number=section.whole("number", least=0) or 0,
        active_low=active == "low",
        debounce_ns=section.duration("debounce") or 0,
        analogue=analogue,
        above_mv=above_mv,
        below_again_mv=below_again_mv,
        wiring=section.text("wiring") or "",
        origin=section.origin(),
    )


def _millivolts(section: Section, key: str) -> int | None:
    text = section.text(key)
    if text is None:
        return None
    try:
        return round(convert(*quantity(text), "mV"))
    except UnitError:
        raise section.error(f'"{text}" is no voltage: write it like "9 V" or "850 mV".', key) from None


def _refuse_short_debounce(box: Section, lines: Iterable[tuple[Section, Line]], period_ns: int) -> None:
    """A shorter one could not tell a bounce from an edge."""
    for section, line in lines:
        if 0 < line.debounce_ns < 2 * period_ns:
            period, least = duration_text(period_ns), duration_text(2 * period_ns)
            raise section.error(
                f'The debounce of "{line.name}", "{section.text("debounce")}", is below twice the period of '
                f"{box.title}: 2 × {period} = {least}.",
                "debounce",
                hint=f'Make "debounce" at least "{least}", or "period" shorter.',
            )


def _refuse_hurry(section: Section, pids: int, every_ns: int) -> None:
    requests = -(-pids // PIDS_PER_REQUEST)
    if requests * 1_000_000_000 > MOST_REQUESTS_PER_S * every_ns:
        rate = requests * 1e9 / every_ns
        least = duration_text(requests * 1_000_000_000 // MOST_REQUESTS_PER_S)
        raise section.error(
            f"{counted(pids, 'PID')} take{'s' if pids == 1 else ''} {counted(requests, 'request')} "
            f"of up to {PIDS_PER_REQUEST}; "
            f'every "{section.text("every")}" that is {rate:.4g} requests a second, '
            f"and at most {MOST_REQUESTS_PER_S} are allowed.",
            "every",
            hint=f'Make "every" at least "{least}", or poll fewer PIDs.',
        )


def _name(section: Section, kind: str) -> str:
    name = section.must_text("name")
    if fault := name_fault(name, kind):
        raise section.error(fault, "name")
    return name


def _beside(path: Path | None, file: str) -> Path:
    """A file named relative to the bench file."""
    return ((path.parent if path else Path()) / file).absolute()


def _listed(names: Iterable[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)
