"""Tiles of the state board: gear, speed, brake and each door, in letters of blocks."""

from __future__ import annotations

from busprobe.session.snapshot import SignalNow, Snapshot
from busprobe.session.walk_tasks import switch_words
from busprobe.timeline import ASLEEP, FALSE, TRUE
from busprobe.tui.view.blocks import biggest
from busprobe.tui.view.spans import Line, Span, Tone, fit, width_of
from busprobe.tui.view.times import clock
from busprobe.tui.view.values import OFF_SIGN, ON_SIGN, UNKNOWN_SIGN, excuse_sign

ROLES = ("gear", "speed", "brake", "door")
"""Roles that get a tile, in order."""
SWITCHES = ("brake", "door")
"""Roles that are on or off by their nature."""
LEAST_WIDTH = 24
"""Of a tile with block letters: "OPEN" is 19 wide."""
LEAST_HEIGHT = 5
"""Its name, three lines of blocks, when it changed."""
_SHORT_WIDTH = 20
"""Of a tile of one line."""
_LEAST_WHY = 6
"""Cells of a reason; with less room for it there is none."""
MOST_OF_BODY = 0.6
"""The share of the body that tiles with block letters may take."""


def tile_signals(picture: Snapshot) -> list[SignalNow]:
    """The signals that get a tile."""
    return [signal for role in ROLES for signal in picture.signals_of(role)]


def tile_lines(picture: Snapshot, width: int, height: int) -> list[Line]:
    """All tiles in a grid of `width` by at most `height`; the last ones, or all, in one line each where blocks do not
    fit.
    """
    signals = tile_signals(picture)
    if not signals:
        return [(Span(" No signal of the bench file has the role gear, speed, brake or door.", Tone.DIM),)]
    most = max(min(width // LEAST_WIDTH, len(signals)), 1)
    down = -(-len(signals) // most)
    if width >= LEAST_WIDTH and down * LEAST_HEIGHT <= height:
        return _block_lines(signals, picture, width, -(-len(signals) // down), height // down)
    down = _blocks_down(len(signals), width, height)
    big = _block_lines(signals[: down * most], picture, width, most, LEAST_HEIGHT)
    return [*big, *_short_lines(signals[down * most :], width, height - len(big))]


def _block_lines(signals: list[SignalNow], picture: Snapshot, width: int, across: int, tall: int) -> list[Line]:
    """Tiles with block letters, so many across and each so tall."""
    lines: list[Line] = []
    for start in range(0, len(signals), across):
        tiles = [_tile(s, picture, width // across, tall) for s in signals[start : start + across]]
        lines += [tuple(span for tile in tiles for span in tile[y]) for y in range(tall)]
    return lines


def _blocks_down(count: int, width: int, height: int) -> int:
    """Rows of tiles with block letters, where those that are left get one line each."""
    across = width // LEAST_WIDTH
    return next((k for k in range(height // LEAST_HEIGHT, 0, -1) if across and _mixed(count, width, k) <= height), 0)


def _mixed(count: int, width: int, down: int) -> int:
    """Lines of `down` rows of tiles with block letters, and of the others in one line each."""
    rest = max(count - down * (width // LEAST_WIDTH), 0)
    return down * LEAST_HEIGHT + -(-rest // max(width // _SHORT_WIDTH, 1))


def title(picture: Snapshot, width: int, height: int) -> str:
    """Over the tiles: how many of them are seen where not all have room."""
    count = len(tile_signals(picture))
    down = _blocks_down(count, width, height)
    lines = max(height - down * LEAST_HEIGHT, 0)
    seen = down * (width // LEAST_WIDTH) + lines * max(width // _SHORT_WIDTH, 1)
    return "Now" if seen >= count else f"Now · {seen} of {count}"


def height_wanted(picture: Snapshot, width: int, height: int) -> int:
    """Lines that the tiles take of a body of `height` lines, so that half or so is left for the list."""
    count = len(tile_signals(picture))
    across = max(width // LEAST_WIDTH, 1)
    down = -(-count // across)
    most = int(height * MOST_OF_BODY)
    for tall in (LEAST_HEIGHT + 2, LEAST_HEIGHT):
        if count and width >= LEAST_WIDTH and down * tall <= most:
            return down * tall
    if big := _blocks_down(count, width, most):
        return _mixed(count, width, big)
    return min(max(_mixed(count, width, 0), 1), max(height // 2, 1))


def _short_lines(signals: list[SignalNow], width: int, height: int) -> list[Line]:
    across = max(width // _SHORT_WIDTH, 1)
    down = -(-len(signals) // across)
    if 0 < down <= height:  # all have room: as wide as their lines allow
        across = -(-len(signals) // down)
    each = width // across
    lines = []
    for start in range(0, len(signals), across):
        parts = [[*fit(_short(s, each - 1), each - 1), Span(" ")] for s in signals[start : start + across]]
        lines.append(tuple(span for part in parts for span in part))
    return lines[:height]


def _short(signal: SignalNow, width: int) -> Line:
    """What it says first, then its name, then why: what has no room is cut from the end."""
    tone = tone_of(signal)
    word, bracket, why = (signal.text if is_on(signal) is None else _big_word(signal)).partition(" (")
    line = (Span(f" {_sign(signal)} {word} ", tone), Span(signal.name, Tone.HEAD))
    has_why = width_of(line) + _LEAST_WHY <= width
    return (*line, Span(f"{bracket}{why}", Tone.DIM)) if has_why else line


def _tile(signal: SignalNow, picture: Snapshot, width: int, height: int) -> list[Line]:
    """`height` lines, each exactly `width` wide."""
    tone = tone_of(signal)
    inner = width - 2
    title = [Span(f"{_sign(signal)} ", tone), Span(signal.name, Tone.HEAD)]
    word = [Span(f"  {_small_word(signal)}", Tone.DIM)]
    blocks = biggest(_big_word(signal), inner, height - 2)
    spare = height - 2 - len(blocks)
    foot = [_when(signal, picture)]
    if width_of([*title, *word]) <= inner or (signal.code <= TRUE and not spare):
        title += word
    else:  # why it is unknown says more than since when, which the list tells too
        foot = [_small_word(signal), *foot][: spare + 1]
    lines = [title, *([[Span(text, tone)] for text in blocks]), *([Span(text, Tone.DIM)] for text in foot)]
    lines += [[] for _ in range(height - len(lines))]
    return [(Span("▏", Tone.DIM), *fit(line, inner), Span(" ")) for line in lines]


def is_on(signal: SignalNow) -> bool | None:
    """On or off; None: neither, or not known. A brake or door with labels is a switch all the same."""
    if signal.code not in (FALSE, TRUE):
        return None
    if signal.is_condition:
        return signal.code == TRUE
    return bool(signal.value) if signal.role in SWITCHES and signal.value in (0.0, 1.0) else None


def tone_of(signal: SignalNow) -> Tone:
    """The tone of the state; its sign and word say the same."""
    on = is_on(signal)
    if on is not None:
        return Tone.ON if on else Tone.PLAIN
    if signal.code == TRUE:
        return Tone.STRONG
    return Tone.DIM if signal.code == ASLEEP else Tone.WARN


def _sign(signal: SignalNow) -> str:
    on = is_on(signal)
    if on is not None:
        return ON_SIGN if on else OFF_SIGN
    if signal.code == TRUE:
        return "▪"
    return excuse_sign(signal) if signal.code == ASLEEP else UNKNOWN_SIGN


def _big_word(signal: SignalNow) -> str:
    on = is_on(signal)
    if on is not None:
        return switch_words(signal.role)[0 if on else 1]
    if signal.code == TRUE:
        return _number(signal)
    return "---" if signal.code == ASLEEP else "???"


def _number(signal: SignalNow) -> str:
    if signal.unit and signal.text.endswith(signal.unit):
        return signal.text.removesuffix(signal.unit).strip()
    return signal.text


def _small_word(signal: SignalNow) -> str:
    if signal.code == TRUE and is_on(signal) is None:
        return signal.unit or ""
    return "" if signal.is_condition and is_on(signal) is not None else signal.text


def _when(signal: SignalNow, picture: Snapshot) -> str:
    if signal.since_ns is None:
        return "no change seen"
    return f"since {clock(signal.since_ns - picture.start_ns)}"
