"""The keys of a replay: what each does to the player, and what is told."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from busprobe.frames import Int64Array
from busprobe.session.scene import SPEEDS, Player, Scene
from busprobe.session.snapshot import Snapshot
from busprobe.timeline import NO_TIMES
from busprobe.tui.screens.base import BoardScreen
from busprobe.tui.view.timebar import STEPS, Bar
from busprobe.tui.view.times import clock
from busprobe.tui.view.typed_time import HINT, typed_time
from busprobe.tui.widgets.askline import Answer

if TYPE_CHECKING:
    from busprobe.tui.app import BusprobeApp


class Jumped(NamedTuple):
    """The occurrence that somebody went to."""

    check: str
    t_ns: int


class Replay:
    """One for each recording that is open; shared by all screens."""

    def __init__(self, app: BusprobeApp, scene: Scene, player: Player) -> None:
        self._app = app
        self._scene = scene
        self.player = player
        self.pinned: Snapshot | None = None
        """The picture of instant A."""
        self.is_comparing = False
        self.stepped_ns: int | None = None
        """Where the last step from frame to frame led; None: something else has moved the instant since."""
        self.jumped: Jumped | None = None
        """The newest jump to an occurrence: Signal path shows its check."""
        self._step = 1
        self._edges: tuple[object, Int64Array] = (None, NO_TIMES)
        self._actions: dict[str, Callable[[], None]] = {
            "play": self._play,
            "slower": lambda: self._change_speed(-1),
            "faster": lambda: self._change_speed(1),
            "last": lambda: self._go(-1),
            "next": lambda: self._go(1),
            "kind": self._next_kind,
            "time": self._ask_time,
            "marker": self._ask_note,
            "pin": self._pin,
            "compare": self._compare,
            "stop_loading": self._stop_loading,
        }

    def do(self, what: str) -> None:
        """One key; the picture follows at once."""
        if what in ("play", "last", "next", "time"):
            self.stepped_ns = None
        self._actions[what]()
        if what in ("kind", "pin", "compare") and isinstance(self._app.screen, BoardScreen):
            self._app.screen.repaint()
        else:
            self._app.pull_now()

    def seek(self, t_ns: int) -> None:
        self.stepped_ns = None
        self.player.seek(t_ns)
        self._app.pull_now()

    def note_jump(self, check: str, t_ns: int) -> None:
        """Somebody goes to an occurrence of a check."""
        self.jumped = Jumped(check, t_ns)

    def bar(self) -> Bar:
        """What the bar shows beside the picture."""
        return Bar(STEPS[self._step], self.signal(), None if self.pinned is None else self.pinned.t_ns)

    def signal(self) -> str | None:
        """Whose edges count: the signal chosen, else the first one."""
        picture = self._app.picture
        if self._app.chosen is not None or picture is None or not picture.signals:
            return self._app.chosen
        return picture.signals[0].name

    def edges(self, picture: Snapshot) -> Int64Array:
        """Edges of that signal; asked for anew only when more is loaded."""
        signal = self.signal()
        key = (signal, picture.loaded, picture.end_ns)
        if key != self._edges[0]:
            self._edges = (key, NO_TIMES if signal is None else np.asarray(self.player.edges(signal)))
        return self._edges[1]

    # --- keys

    def _play(self) -> None:
        if self.player.is_playing:
            self.player.pause()
        else:
            self.player.play()

    def _change_speed(self, by: int) -> None:
        at = min(range(len(SPEEDS)), key=lambda i: abs(SPEEDS[i] - self.player.speed))
        self.player.set_speed(SPEEDS[min(max(at + by, 0), len(SPEEDS) - 1)])

    def _next_kind(self) -> None:
        self._step = (self._step + 1) % len(STEPS)

    def _go(self, direction: int) -> None:
        step, signal = STEPS[self._step], self.signal()
        if step.kind == "frame":
            self.player.step_frame(direction)
            self.stepped_ns = self.player.position_ns
            return
        if self.player.step_mark(direction, step.kind, signal if step.kind == "edge" else None) is None:
            words = f"{step.words} {signal}" if step.kind == "edge" else step.words
            self._warn(f"No {words} {'after' if direction > 0 else 'before'} this instant.")

    def _ask_time(self) -> None:
        def go(text: str) -> None:
            picture = self._app.picture
            if not text or picture is None:
                return
            found = typed_time(text, picture, None if self.pinned is None else self.pinned.t_ns)
            if isinstance(found, str):
                self._warn(found)
            else:
                self.seek(found)

        self._ask("Go to time:", go, hint=HINT)

    def _ask_note(self) -> None:
        self.player.pause()
        at = self.player.position_ns
        picture = self._app.picture
        here = clock(at - picture.start_ns, 3) if picture is not None else ""

        def keep(note: str) -> None:
            self.player.seek(at)
            told = self.player.add_marker(note.strip() or "marker")
            self._app.notify(
                told or f"Marker at {here} is kept in the recording.",
                severity="warning" if told else "information",
                markup=False,
            )
            self._app.pull_now()

        self._ask(f"Note of the marker at {here}:", keep)

    def _ask(self, question: str, answer: Answer, *, hint: str = "") -> None:
        if isinstance(self._app.screen, BoardScreen):
            self._app.screen.ask(question, answer, hint=hint)

    def _pin(self) -> None:
        self.player.pause()
        self.pinned = self._scene.snapshot()
        here = clock(self.pinned.t_ns - self.pinned.start_ns, 3)
        self._app.notify(f"Instant A is {here}. Go elsewhere; v lists what differs.")

    def _compare(self) -> None:
        if self.pinned is None:
            self._warn("No instant A is pinned yet: x pins one.")
        else:
            self.is_comparing = not self.is_comparing

    def _stop_loading(self) -> None:
        picture = self._app.picture
        if picture is not None and picture.loaded < 1 and not picture.failure:
            self._scene.stop_loading()

    def _warn(self, text: str) -> None:
        self._app.notify(text, severity="warning", markup=False)
