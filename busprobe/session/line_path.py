"""The way of an input line: wire, level, debounce."""

from __future__ import annotations

from busprobe.bench.units import duration_text
from busprobe.engine.history import Bounce
from busprobe.engine.signal_plan import LineTap, Source
from busprobe.report.quantities import times
from busprobe.session.ages import age_text
from busprobe.session.polls import Wire
from busprobe.session.snapshot import SignalNow, Stage
from busprobe.session.walk import UNSEEN
from busprobe.sources.pace import SLOWER, is_bounce_measurable
from busprobe.sources.wire_time import short_ms
from busprobe.timeline import FALSE, TRUE, UNKNOWN


def line_stages(source: Source, tap: LineTap, now: SignalNow, wire: Wire | None, t_ns: int) -> list[Stage]:
    """wire: at its newest poll; None: there is none, or its box is down since."""
    line = tap.line
    number = f"{tap.box.name} line {line.number}" + (f": {line.wiring}" if line.wiring else "")
    polled = f"polled {_every(tap, now)}"
    if wire is not None:
        polled += f", newest {age_text(t_ns - wire.t_ns)} ago"
    volts = "not polled" if wire is None or wire.millivolts is None else f"{wire.millivolts:,} mV"
    if not tap.is_condition:
        convert = "" if (source.scale, source.offset) == (1.0, 0.0) else f" × {source.scale:g} + {source.offset:g}"
        return [Stage("Wire", volts, f"{number}, {polled}"), Stage("Value", now.text, f"millivolts / 1000{convert}")]
    is_analogue = line.above_mv is not None
    first = Stage("Wire", volts, f"{number}, {polled}") if is_analogue else Stage("Wire", number, polled)
    return [first, _level(tap, wire), _debounce(tap, now)]


def _every(tap: LineTap, now: SignalNow) -> str:
    """How often: as the bench file says, unless it is really slower."""
    asked = f"every {duration_text(tap.box.period_ns)}"
    if now.poll_ns is None or now.poll_ns <= SLOWER * tap.box.period_ns:
        return asked
    return f"every {short_ms(now.poll_ns)}, not {asked}"


def _level(tap: LineTap, wire: Wire | None) -> Stage:
    """What the newest poll alone says."""
    line = tap.line
    if line.above_mv is not None:
        below = line.above_mv if line.below_again_mv is None else line.below_again_mv
        detail = f"on above {line.above_mv / 1000:g} V, off below {below / 1000:g} V"
        words = ("on", "off")
    else:
        detail = "active low: on while low" if line.active_low else "active high"
        words = ("high", "low")
    if wire is None:
        return Stage("Level", "not polled", detail, UNKNOWN)
    if not wire.is_settled:
        return Stage("Level", "between the limits", detail, UNKNOWN)
    code = TRUE if wire.is_high != line.active_low else FALSE
    return Stage("Level", words[0] if wire.is_high else words[1], detail, code)


def _debounce(tap: LineTap, now: SignalNow) -> Stage:
    length = tap.line.debounce_ns
    sees_bounce = now.poll_ns is None or is_bounce_measurable(now.poll_ns)
    if not length:
        detail = "none: every poll counts" if sees_bounce else f"none: every poll counts; {UNSEEN}"
    elif sees_bounce:
        detail = f"a burst of transitions less than {duration_text(length)} apart counts once"
    else:  # first what would be missed where the line is cut
        detail = f"bounce not measurable; a burst, gaps < {duration_text(length)}, counts once"
    return Stage("Debounce", now.text, detail + _taken_out(now.bounce, sees_bounce=sees_bounce), now.code)


def _taken_out(bounce: Bounce, *, sees_bounce: bool) -> str:
    """Bounce and glitches so far, as the end of a sentence."""
    parts = []
    if bounce.extra and sees_bounce:
        parts.append(f"bounce up to {bounce.longest_ns / 1e6:.3g} ms")
    if bounce.glitches:
        parts.append(f"{bounce.glitches:,} glitch{'es' if bounce.glitches > 1 else ''}")
    if bounce.chatters:
        parts.append(f"chattered {times(bounce.chatters)}")
    return f"; taken out: {', '.join(parts)}" if parts else ""
