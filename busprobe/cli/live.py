"""What `verify live`, `survey live` and `record` share: their options, the cautions, the status line."""

from __future__ import annotations

import re
import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

import click

from busprobe.bench.units import UnitError, duration_ns
from busprobe.cli import options
from busprobe.report.cautions import caution_lines
from busprobe.report.live_text import LiveStatus, TroubleNews, status_line
from busprobe.report.table import paragraph
from busprobe.session.endings import ignore_endings

if TYPE_CHECKING:
    from busprobe.session.live_bench import LiveOptions

LIVE = Path("live")
"""In place of a recording: the vehicle itself."""
_PART = r"[0-9]+(?:\.[0-9]+)?\s*(?:us|ms|min|s|m|h)"
"""One number and its unit."""
_SIZES = {"kB": 10**3, "MB": 10**6, "GB": 10**9, "TB": 10**12}
_SIZES |= {"KiB": 2**10, "MiB": 2**20, "GiB": 2**30, "TiB": 2**40}
LEAST_RING = "10MB"
"""The database takes room in large steps: a smaller ring would be overrun."""


class Duration(click.ParamType[int]):
    """A duration such as 20s, 10m, 1m50s, 1.5h or "300 ms", in ns."""

    name = "duration"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> int:
        if isinstance(value, int):
            return value
        text = str(value).strip()
        several = re.fullmatch(rf"(?:{_PART}\s*)+", text) is not None
        parts = [part[0] for part in re.finditer(_PART, text)] if several else [text]
        try:
            return sum(duration_ns(re.sub(r"(?<=[0-9 ])m$", "min", part)) for part in parts)
        except UnitError as error:
            self.fail(str(error), param, ctx)


class Size(click.ParamType[int]):
    """A size such as 2GB or 500MB, or 2GiB, in bytes."""

    name = "size"

    def __init__(self, least: str) -> None:
        """least: a smaller one is refused."""
        self._least = least

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> int:
        if isinstance(value, int):
            return value
        size = _bytes(str(value))
        if size is None:
            self.fail(f'"{value}" is no size: write it like 500MB, 2GB or 2GiB.', param, ctx)
        if size < (_bytes(self._least) or 0):
            self.fail(f'"{value}" is too little: at least {self._least}.', param, ctx)
        return size


def _bytes(text: str) -> int | None:
    """The size that a text says; None where it says none."""
    match = re.fullmatch(rf"([0-9]+(?:\.[0-9]+)?)\s*({'|'.join(_SIZES)})", text.strip())
    return None if match is None else round(float(match[1]) * _SIZES[match[2]])


for_time = click.option(
    "--for",
    "for_ns",
    metavar="TIME",
    type=Duration(),
    help="How long to go on live, like 20s or 10m; else until Ctrl-C.",
)
record_file = click.option(
    "--record",
    metavar="FILE",
    type=click.Path(path_type=Path),
    callback=options.recording_to_write,
    help="Live: also record to FILE (.duckdb).",
)


requests_option = click.option(
    "--allow-requests",
    is_flag=True,
    help="Live: ask for the PIDs of [obd] poll, on a bus whose bench file says listen_only = false.",
)


def live_options(
    for_ns: int | None,
    record: Path | None,
    *,
    ring: int | None = None,
    on_wake: bool = False,
    allow_requests: bool = False,
) -> LiveOptions:
    from busprobe.session.live_bench import LiveOptions

    return LiveOptions(for_ns, record, ring_bytes=ring, on_wake=on_wake, allow_requests=allow_requests)


def refuse_live_options(**given: object) -> None:
    """Options that only make sense live were given with a recording."""
    for name, value in given.items():
        if value:
            raise click.UsageError(f'--{name.replace("_", "-")} goes with "live", not with a recording.')


@contextmanager
def live_screen() -> Iterator[Callable[[LiveStatus], None]]:
    """Show the cautions, then what goes wrong, a line each, and on a terminal a status line below.

    After the run Ctrl-C and its like are ignored until the command ends: a late one must not take the report away.
    """
    for line in caution_lines(max(40, min(80, shutil.get_terminal_size().columns - 1))):
        click.echo(line, err=True)
    click.echo("Ctrl-C ends the run and gives the result.", err=True)
    news = TroubleNews()
    if not sys.stderr.isatty():
        yield lambda status: _paint("".join(f"{line}\n" for line in news.take(status)))
        ignore_endings()
        return

    def show(status: LiveStatus) -> None:
        width = shutil.get_terminal_size().columns - 1
        told = [line for text in news.take(status) for line in paragraph(text, width=width)]
        shown = "".join(f"\r{line.ljust(width)}\n" for line in told) + "\r" + status_line(status, width).ljust(width)
        _paint(shown + "\r")  # the terminal writes ^C where the cursor stands: where it is painted over

    try:
        yield show
        ignore_endings()
    finally:
        _paint("\r" + " " * (shutil.get_terminal_size().columns - 1) + "\r")


def _paint(text: str) -> None:
    """Onto a terminal that may be gone: that takes nothing from the run."""
    with suppress(OSError):
        sys.stderr.write(text)
        sys.stderr.flush()
