"""The command `busprobe`: arguments in, exit status out.

Exit status: of `verify` 0 all pass, 1 some check failed, 2 none failed but some are
undecided or not exercised; of every command 3 where the input or the command line could not be
used, 130 after Ctrl-C.
"""

from __future__ import annotations

import io
import os
import shutil
import signal
import sys
import textwrap
from collections.abc import Sequence
from types import TracebackType

import click

from busprobe import __version__
from busprobe.cli.lazy import Entry, LazyGroup
from busprobe.cli.pipes import forget_stdout, open_closed_streams
from busprobe.errors import BusprobeError
from busprobe.session.endings import endings_kept

UNUSABLE = 3
LONGEST, NARROWEST = 120, 60
"""Columns of a line of a message."""
INTERRUPTED = 130
"""128 + SIGINT, as shells count."""

_COMMANDS = {
    "verify": Entry(
        "busprobe.cli.verify", "Put the checks of a bench file to the test on a recording or a live vehicle."
    ),
    "survey": Entry(
        "busprobe.cli.survey",
        "Say what is in a recording or on a live vehicle: channels, identifiers, OBD, signals, roles.",
    ),
    "decode": Entry(
        "busprobe.cli.decode", "Write every sample of every signal of a recording as a table, CSV or Parquet."
    ),
    "vehicle": Entry(
        "busprobe.cli.vehicle",
        "Read VIN, PIDs, trouble codes, readiness and voltage, recorded or live; compare with before.",
    ),
    "open": Entry(
        "busprobe.cli.open", "Watch a live vehicle or replay a recording on the six screens of the dashboard."
    ),
    "record": Entry(
        "busprobe.cli.record", "Record every bus and input box of a live vehicle, with the verdicts at the end."
    ),
    "adapters": Entry("busprobe.cli.adapters", "List bus adapters and serial ports, and say what others need."),
    "listen-rate": Entry("busprobe.cli.listen_rate", "Find the bit rate of a bus by listening only."),
    "wiring": Entry("busprobe.cli.wiring", "Say how the input boxes of a bench file are to be wired."),
    "simulate": Entry("busprobe.cli.simulate", "Drive a simulated patrol van in real time."),
    "demo": Entry(
        "busprobe.cli.demo",
        "Watch a simulated patrol van on the dashboard, or print the verdicts on two of its drives.",
    ),
}


@click.command(
    cls=LazyGroup,
    entries=_COMMANDS,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="busprobe COMMAND --help shows an example of each. A pass is evidence of behaviour and no "
    "certificate: the local code and licensed practice decide.",
)
@click.version_option(__version__, prog_name="busprobe")
def commands() -> None:
    """Bench instrument for vehicle bus and input signals."""


def main() -> None:
    """Entry point of the command; never returns."""
    sys.excepthook = _own_fault
    open_closed_streams()
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # A terminal that cannot show a sign shows "?" instead.
            stream.reconfigure(errors="replace")
    status = run(sys.argv[1:])
    # All is said and closed: a late Ctrl-C must not show the insides of Python's own end.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    sys.exit(status)


def run(arguments: Sequence[str]) -> int:
    """Run one command line and return its exit status; everything said is on stdout or stderr."""
    with endings_kept():
        return _run(arguments)


def _run(arguments: Sequence[str]) -> int:
    try:
        status = commands.main(list(arguments), prog_name="busprobe", standalone_mode=False)
    except click.ClickException as error:
        error.show()
        return UNUSABLE
    except (click.Abort, KeyboardInterrupt):
        say("Stopped.")
        return INTERRUPTED
    except BusprobeError as error:
        say(error_text(error))
        return UNUSABLE
    except BrokenPipeError:
        forget_stdout()
        return UNUSABLE
    except OSError as error:
        say(_os_text(error))
        return UNUSABLE
    return status if isinstance(status, int) else 0


def say(text: str) -> None:
    """A message for the person, on stderr."""
    click.echo(text, err=True)


def error_text(error: BusprobeError) -> str:
    """An error; its advice, which may be a list, is folded, its place and message stay in one line."""
    if not error.hint:
        return str(error)
    return f"{str(error).removesuffix(error.hint)}{folded(error.hint)}"


def folded(text: str) -> str:
    """Lines that fit the terminal, in a pipe `LONGEST` wide; words stay whole."""
    width = min(LONGEST, max(NARROWEST, shutil.get_terminal_size().columns)) if sys.stderr.isatty() else LONGEST
    lines = []
    for line in text.splitlines():
        fits = len(line) <= width
        lines += [line] if fits else textwrap.wrap(line, width, break_long_words=False, break_on_hyphens=False)
    return "\n".join(lines)


def _os_text(error: OSError) -> str:
    where = f"{error.filename}: " if error.filename is not None else ""
    return f"{where}{error.strerror or error}."


def _own_fault(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
    """Tell of a fault of the program in one line; its exit status must not be that of a failed check."""
    if issubclass(kind, KeyboardInterrupt):  # a second one, while the first was answered
        os._exit(INTERRUPTED)
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    where = f" ({trace.tb_frame.f_code.co_filename}, line {trace.tb_lineno})" if trace is not None else ""
    say(f"A fault of busprobe itself{where}: {kind.__name__}: {error}\nReport it with the command line used.")
    sys.stdout.flush()
    os._exit(UNUSABLE)
