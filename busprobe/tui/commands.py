"""What the command palette offers."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from textual.app import SystemCommand
from textual.screen import Screen

from busprobe.tui.screens.van import FaultyVan

if TYPE_CHECKING:
    from busprobe.tui.app import BusprobeApp


def commands(app: BusprobeApp, screen: Screen[object]) -> Iterator[SystemCommand]:
    """Every action that is alive on the screen, every signal, and every fault of a simulated van."""
    seen = set()
    for node, binding, enabled, tooltip in screen.active_bindings.values():
        if binding.id is None or binding.action in seen or not enabled or binding.id == "commands":
            continue
        seen.add(binding.action)
        yield SystemCommand(binding.description, tooltip or binding.tooltip, _runner(app, node, binding.action))
    for signal in app.picture.signals if app.picture is not None else ():
        yield SystemCommand(f"Signal {signal.name}", signal.source, _chooser(app, signal.name))
    if (van := app.van) is None:
        return
    for fault in van.faults:
        yield SystemCommand(f"Van: {fault}", "Set this fault, or take it back.", _toggler(app, van, fault))


def _runner(app: BusprobeApp, node: object, action: str) -> Callable[[], None]:
    def run() -> None:
        app.call_later(app.run_action, action, node)

    return run


def _chooser(app: BusprobeApp, name: str) -> Callable[[], None]:
    return lambda: app.choose_signal(name)


def _toggler(app: BusprobeApp, van: FaultyVan, fault: str) -> Callable[[], None]:
    def toggle() -> None:
        van.toggle(fault)
        app.tell(van.trouble or f"Van: {fault} {'on' if fault in van.faults_set else 'off'}, within a second.")

    return toggle
