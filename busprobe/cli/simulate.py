"""`busprobe simulate`: the patrol van in real time."""

from __future__ import annotations

import os
import shutil
import signal
import sys
import threading
import time
from contextlib import nullcontext
from pathlib import Path
from types import TracebackType

import click

from busprobe.bench.load import load, loads
from busprobe.cli import options
from busprobe.cli.keyboard import WaitForKey, single_keys
from busprobe.cli.live import Duration
from busprobe.cli.output import print_lines
from busprobe.errors import BenchError
from busprobe.report.quantities import counted, rounded
from busprobe.van.live import Van
from busprobe.van.live_faults import FAULTS_HINT, FOR_EVER_NS, KEYS, Spell, live_fault, refuse_contradictions
from busprobe.van.live_script import read_script
from busprobe.van.live_status import QUIT, heading_lines, key_lines, no_key_text, state_text, status_line
from busprobe.van.samples import bench_text

STATUS_EVERY_S = 0.25
ESCAPE = "\x1b"


@click.command("simulate", epilog=FAULTS_HINT)
@options.bench
@click.option("--for", "for_ns", metavar="TIME", type=Duration(), help="How long, like 60s or 10m; else until Ctrl-C.")
@click.option("--from", "from_ns", metavar="TIME", type=Duration(), default=0, help="Start so far into the drive.")
@click.option("--seed", metavar="N", type=click.IntRange(min=0), default=1, help="Another number, another crew.")
@click.option("--faults", metavar="A,B", default="", help="Faults that are set all the time, by name.")
@click.option("--script", metavar="FILE", type=click.Path(path_type=Path), help="Faults with their times (TOML).")
@click.option(
    "--stdin",
    "obeys",
    is_flag=True,
    help="Each line of stdin sets a fault or takes it back; the end of stdin ends the van.",
)
def command(
    bench: Path | None, for_ns: int | None, from_ns: int, seed: int, faults: str, script: Path | None, obeys: bool
) -> int:
    """Drive a simulated patrol van in real time.

    It sends on the bus of the bench file (udp_multicast, heard by programs on this machine
    only), answers OBD requests while the ignition is on, and drives the input box on a
    pseudo-terminal. The drive lasts 10 minutes and begins again; the engine starts at 14 s, the
    van leaves at 43 s. On a terminal single keys set faults and take them back, and q ends it;
    without one Ctrl-C does, or --for.

    \b
    Examples:
      busprobe simulate
      busprobe simulate --bench dbc_samples/patrol_van.toml --from 2m --for 60s
      busprobe simulate --faults "late rear white,chatter rear door"

    \b
    A script has an entry for each fault, with times from the start of the simulation:
      [[fault]]
      at = "12 s"
      fault = "lost TransmissionStatus"
      for = "5 s"
    """
    spells = [Spell(live_fault(name), 0, FOR_EVER_NS) for name in faults.split(",") if name.strip()]
    if script is not None:
        spells += read_script(script)
    refuse_contradictions(spells)
    van = Van(load(bench) if bench else loads(bench_text()), seed=seed, from_ns=from_ns, spells=spells)
    with _Ending() as ending, van, nullcontext() if obeys else single_keys() as key:
        print_lines([*heading_lines(van.bus, van.port), *(key_lines() if key else ("Ctrl-C ends it.",))])
        _drive(van, for_ns, _obey_lines(van) if obeys else key or _no_key, ending)
    if sys.stdout.isatty():
        click.echo()
    late = f"at most {rounded(van.most_late_ns)} late"
    print_lines([f"{counted(van.frames_sent, 'frame')} sent, {late}; {counted(van.answers_sent, 'frame')} of answers"])
    return 0


def _drive(van: Van, for_ns: int | None, key: WaitForKey, ending: _Ending) -> None:
    """Show the status and obey keys until the time is over, or somebody asks for the end."""
    said = ""
    while not ending.is_asked and (for_ns is None or van.run_ns < for_ns):
        if van.trouble is not None:
            raise van.trouble
        if sys.stdout.isatty():
            width = shutil.get_terminal_size().columns - 1
            click.echo("\r" + status_line(van.schedule, van.drive_ns, van.run_ns)[:width].ljust(width), nl=False)
        elif said != (said := state_text(van.schedule, van.drive_ns)):
            print_lines([status_line(van.schedule, van.drive_ns, van.run_ns)])
        pressed = key(STATUS_EVERY_S)
        if pressed == QUIT:
            return
        if pressed in KEYS:
            van.toggle(KEYS[pressed])
        elif pressed == ESCAPE:
            while key(0.0):  # the rest of an arrow or a function key
                pass
        elif pressed.isprintable() and pressed:
            print_lines([*([""] if sys.stdout.isatty() else []), no_key_text(pressed)])


def _no_key(seconds: float) -> str:
    time.sleep(seconds)
    return ""


def _obey_lines(van: Van) -> WaitForKey:
    """Lets a thread obey stdin; its end counts as the key that ends the drive."""
    ended = threading.Event()

    def obey() -> None:
        # Not through sys.stdin: Python cannot end while a thread waits in it.
        with os.fdopen(os.dup(0), encoding="utf-8", errors="replace") as lines:
            for line in lines:
                try:
                    if line.strip():
                        van.toggle(live_fault(line.strip()))
                except BenchError as error:
                    click.echo(str(error), err=True)
        ended.set()

    threading.Thread(target=obey, name="orders", daemon=True).start()
    return lambda seconds: QUIT if ended.wait(seconds) else ""


class _Ending:
    """Ctrl-C, a polite request to end, and a terminal that is gone: the drive ends within a moment, in order.

    No signal breaks into what goes on: while threads and ports are set up that would leave some behind.
    """

    is_asked = False

    def __enter__(self) -> _Ending:
        self._before = {number: signal.signal(number, self._asked) for number in _ENDING}
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for number, handler in self._before.items():
            signal.signal(number, handler)

    def _asked(self, _number: int, _frame: object) -> None:
        self.is_asked = True


_ENDING = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))
