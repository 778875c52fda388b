"""The start page: what to open."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, ClassVar, cast

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Vertical
from textual.screen import Screen
from textual.widgets import Static
from textual.worker import Worker, WorkerState

from busprobe.errors import BusprobeError
from busprobe.session.scene import Scene
from busprobe.tui.keys import KEYS, bindings, key_text
from busprobe.tui.recent import Opened, recent, remember
from busprobe.tui.screens.ask import AskText
from busprobe.tui.view.footline import Item
from busprobe.tui.view.start import COLUMNS, DEMO, OTHER, Adapter, chosen, from_text, is_adapter, start_rows
from busprobe.tui.widgets.footline import Footline
from busprobe.tui.widgets.rows import Rows

if TYPE_CHECKING:
    from busprobe.tui.app import BusprobeApp

_OPEN, _FIND = "open", "find"
"""Names of workers."""
_WORDS = "↑ ↓ move, Enter opens. A bench instrument for vehicle bus and input signals."


class StartPage(Screen[None]):
    """Recent recordings and bench files, the demo, adapters found."""

    BINDINGS: ClassVar[list[BindingType]] = bindings("start")

    def __init__(self) -> None:
        super().__init__()
        self._recents: list[Opened] = []
        self._adapters: list[Adapter] | None = None
        """None: being looked for."""
        self._opening: Opened | None = None

    @property
    def board(self) -> BusprobeApp:
        return cast("BusprobeApp", self.app)

    def compose(self) -> ComposeResult:
        yield Static(f"busprobe\n{_WORDS}", id="about", markup=False)
        with Vertical(id="body"):
            rows = Rows(COLUMNS, classes="panel")
            rows.border_title = "Open"
            yield rows
        yield Static("", id="said", markup=False)
        yield Footline([Item(key_text(k.keys).split()[0], k.words, k.action) for k in KEYS if k.where == "everywhere"
                        and k.footer and k.id != "hold"], [])  # fmt: skip

    def on_mount(self) -> None:
        self._paint()

    def on_screen_resume(self) -> None:
        self._paint()
        self.run_worker(self.board.find, thread=True, name=_FIND, exclusive=True, group=_FIND, exit_on_error=False)

    def _paint(self) -> None:
        self._recents = recent()
        self.query_one(Rows).show(start_rows(self._recents, self._adapters))

    def on_rows_chosen(self, event: Rows.Chosen) -> None:
        key = event.row.key
        if key == OTHER:
            self.app.push_screen(AskText("Recording or bench file to open:"), self._typed)
        elif is_adapter(key):
            self.say("An adapter is opened through a bench file, which names it and says what is on its bus.")
        else:
            self._open(Opened(None, None) if key == DEMO else chosen(key, self._recents))

    def _typed(self, text: str | None) -> None:
        if text and text.strip():
            self._open(from_text(text))

    def say(self, text: str, *, trouble: bool = False) -> None:
        """A message above the footer."""
        line = self.query_one("#said", Static)
        line.set_class(trouble, "-trouble")
        line.update(f"✗ {text}" if trouble else text)

    def _open(self, opened: Opened | None) -> None:
        opener = self.board.opener
        if opened is None or opener is None or self._opening is not None:
            return
        self._opening = opened
        self.say(f"Opening {_name(opened)} …")

        def open_it() -> Scene:
            self.board.made.wait_closed(opened.recording)
            return opener(opened)

        self.run_worker(lambda: _try(open_it), thread=True, name=_OPEN, exit_on_error=False)

    def on_worker_state_changed(self, event: Worker.StateChanged) -> None:
        worker, state = event.worker, event.state
        if state not in (WorkerState.SUCCESS, WorkerState.ERROR, WorkerState.CANCELLED):
            return
        if worker.name == _OPEN:
            self._opened(worker, state)
        elif worker.name == _FIND and state is not WorkerState.CANCELLED:
            self._adapters = cast("list[Adapter]", worker.result or [])
            self._paint()
            if state is WorkerState.ERROR:
                self.say(f"Adapters cannot be listed: {_described(worker.error)}", trouble=True)

    def _opened(self, worker: Worker[object], state: WorkerState) -> None:
        opened, self._opening = self._opening, None
        if opened is None or state is WorkerState.CANCELLED:
            return
        result = cast("Scene | str", worker.result)
        if state is WorkerState.ERROR:
            self.say(f"{_name(opened)} cannot be opened: {_described(worker.error)}", trouble=True)
        elif isinstance(result, str):
            self.say(result, trouble=True)
        else:
            self.say("")
            self._use(opened, result)

    def _use(self, opened: Opened, scene: Scene) -> None:
        """Show it; where a recording was begun meanwhile only when told so."""

        def go() -> None:
            if opened != Opened(None, None):
                remember(opened)
            self.call_next(self.board.use, scene)

        def stay() -> None:
            scene.close()
            self.say(f"{_name(opened)} was not opened: a recording goes on.")

        self.board.pull_now()  # what was recorded is closed by now
        self.board.unless_recording(f"Stop it and show {_name(opened)}", go, stay)


def _name(opened: Opened) -> str:
    return str(opened.recording or opened.bench or "the demo")


def _described(error: BaseException | None) -> str:
    """An error that nobody foresaw: its kind, and what it says."""
    return f"{type(error).__name__}: {error}."


def _try(open_it: Callable[[], Scene]) -> Scene | str:
    """A scene, or why there is none."""
    try:
        return open_it()
    except BusprobeError as error:
        return str(error)
    except OSError as error:
        return f"{error.filename}: {error.strerror}." if error.filename else f"{error}."
