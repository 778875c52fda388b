"""The dashboard: one app that pulls pictures of a scene and shows them on the screen chosen."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any, ClassVar

from textual.app import SystemCommand
from textual.binding import BindingType
from textual.reactive import reactive
from textual.screen import Screen

from busprobe.session.scene import Scene
from busprobe.session.snapshot import Snapshot
from busprobe.tui.commands import commands
from busprobe.tui.files import free_name, write_new
from busprobe.tui.found import adapters
from busprobe.tui.kept_rules import KeptRules
from busprobe.tui.keys import Key, bindings, keys_with_screens
from busprobe.tui.made import Made, proposed, question
from busprobe.tui.pull import PERIOD_S, Pull
from busprobe.tui.recent import Opened
from busprobe.tui.replay import Replay
from busprobe.tui.screens import SCREENS, Entry
from busprobe.tui.screens.ask import AskText, AskYes
from busprobe.tui.screens.base import BoardScreen
from busprobe.tui.screens.cautions import Cautions
from busprobe.tui.screens.help import HelpScreen
from busprobe.tui.screens.start import StartPage
from busprobe.tui.screens.van import FaultyVan, HasVan, VanFaults
from busprobe.tui.sized import SizedApp
from busprobe.tui.themes import NAMES, themes
from busprobe.tui.view.start import Adapter

Opener = Callable[[Opened], Scene]
"""Opens what was chosen on the start page; neither recording nor bench file means the demo. Raises BusprobeError."""

SWITCH_S = 0.01
"""Between a key that changes the screen and the picture."""
TIDY_S = 0.5
"""After a change of scenes, until nothing refers to the one before."""
START = "start"
"""The mode of the start page."""
_ALL_KEYS = keys_with_screens((e.name, e.key, e.words, e.tooltip) for e in SCREENS)


class BusprobeApp(SizedApp):
    """Shows a scene; without one, the start page."""

    TITLE = "busprobe"
    CSS_PATH = Path(__file__).with_name("theme.tcss")
    BINDINGS: ClassVar[list[BindingType]] = [*bindings("everywhere", _ALL_KEYS), *bindings("demo")]
    MODES: ClassVar[dict[str, str | Callable[[], Screen[Any]]]] = {
        START: StartPage,
        **{entry.name: entry.screen for entry in SCREENS},
    }
    AUTO_FOCUS = "Rows"

    picture: reactive[Snapshot | None] = reactive(None, repaint=False, always_update=True)
    """What the screens show now."""

    def __init__(
        self,
        scene: Scene | None,
        *,
        opener: Opener | None = None,
        find: Callable[[], list[Adapter]] = adapters,
        cautions: Sequence[str] = (),
        theme: str = NAMES[0],
    ) -> None:
        """scene: None for the start page, which needs an opener. find: adapters. cautions: shown before live work."""
        super().__init__()
        for own in themes():
            self.register_theme(own)
        self.theme = theme
        self.stylesheet = KeptRules(variables=self.get_css_variables())
        self.scene, self.opener, self.find = scene, opener, find
        self.chosen: str | None = None
        """Name of the signal that the signal path shows."""
        self.saved: list[str] = []
        """What to print after leaving: one text a block."""
        self.made = Made(self.saved)
        self._pull = Pull(scene) if scene is not None else None
        self.replay = self._replay_of(scene)
        """The keys of a replay; None: live, or nothing open."""
        self._cautions = cautions

    @property
    def entries(self) -> tuple[Entry, ...]:
        return SCREENS

    @property
    def keys(self) -> tuple[Key, ...]:
        """Every key there is."""
        return _ALL_KEYS

    @property
    def van(self) -> FaultyVan | None:
        """The simulated van; None: the vehicle is none."""
        return self.scene.van if isinstance(self.scene, HasVan) else None

    @property
    def board_screen(self) -> BoardScreen | None:
        """The screen in use, also under an open box; None: another one is shown."""
        return next((screen for screen in reversed(self.screen_stack) if isinstance(screen, BoardScreen)), None)

    @property
    def is_holding(self) -> bool:
        return self._pull is not None and self._pull.is_holding

    # --- pictures

    def on_mount(self) -> None:
        self.set_interval(PERIOD_S, self.pull_now)
        self.pull_now()
        self.switch_mode(SCREENS[0].name if self.scene is not None else START)
        self._caution()

    def on_ready(self) -> None:
        self.keep_what_is_there()

    def keep_what_is_there(self) -> None:
        """Spare the garbage collector what is here to stay: looking through it takes 200 ms, too long for a key."""
        gc.freeze()
        gc.enable()

    def pull_now(self) -> None:
        """Take and show a picture; also right after a key that changes what is shown."""
        if self._pull is not None and self.is_running:  # screens are taken down one widget after the other
            was, picture = self._pull.last, self._pull.take()
            if picture is not None:
                self.picture = picture
                if was is not None and was.loaded < 1 <= picture.loaded:
                    self.keep_what_is_there()

    def watch_picture(self, picture: Snapshot | None) -> None:
        board = self.board_screen
        if picture is not None and board is not None:
            with self.batch_update():
                board.show(picture)

    def on_unmount(self) -> None:
        self.made.end()

    async def use(self, scene: Scene) -> None:
        """Show another scene from now on; the one before is closed."""
        if self.current_mode != START:
            await self.switch_mode(START)  # what is shown cannot be removed
        if self.scene is not None:
            self.scene.close()
            self.made.end()
        gone = [self.remove_mode(entry.name) for entry in SCREENS]
        for entry in SCREENS:  # a key may come at the next await: it is to find the new ones, all of them
            self.add_mode(entry.name, entry.screen)
        self.scene, self._pull, self.chosen = scene, Pull(scene), None
        self.replay = self._replay_of(scene)
        self.pull_now()
        for screens in gone:
            await screens
        await self.switch_mode(SCREENS[0].name)
        self.set_timer(TIDY_S, self._let_go)
        self._caution()

    def _let_go(self) -> None:
        """Free the memory of the scene before: what is spared the garbage collector is never freed."""
        gc.unfreeze()
        gc.collect()
        self.keep_what_is_there()

    def _replay_of(self, scene: Scene | None) -> Replay | None:
        return None if scene is None or scene.player is None else Replay(self, scene, scene.player)

    def _caution(self) -> None:
        """Before live work: the usual cautions; a simulated van needs none."""
        if self.van is not None:
            self.notify("A simulated van drives, in a process of its own. 7 sets its faults.")
        elif self.scene is not None and self.scene.player is None and self._cautions:
            self.push_screen(Cautions(self._cautions))

    # --- screens

    def delay_update(self, delay: float = SWITCH_S) -> None:
        """Textual waits 50 ms at a change of screens, half of what a key may take; ours are painted sooner."""
        super().delay_update(min(delay, SWITCH_S))

    def action_go(self, name: str) -> None:
        if self.scene is not None and self.current_mode != name:
            self.switch_mode(name)

    def choose_signal(self, name: str) -> None:
        """Show the path of a signal."""
        self.chosen = name
        self.action_go("path")

    def action_start(self) -> None:
        if self.opener is not None and self.current_mode != START:
            self.unless_recording("Stop it, open another", self._stop_and_start)

    def _stop_and_start(self) -> None:
        if self.is_recording:
            self._stop_recording()
        self.switch_mode(START)

    def action_help(self) -> None:
        if not isinstance(self.screen, HelpScreen):
            self.push_screen(HelpScreen(self.screen))

    def action_theme(self) -> None:
        at = NAMES.index(self.theme) if self.theme in NAMES else -1
        self.theme = NAMES[(at + 1) % len(NAMES)]
        why = " NO_COLOR is set: no colours are shown." if self.no_color else ""
        self.notify(f"Theme: {self.theme.removeprefix('busprobe-')}.{why}")

    def action_hold(self) -> None:
        if self._pull is not None:
            self._pull.hold()
            self.pull_now()
            if self.board_screen is not None:
                self.board_screen.repaint()

    # --- recording and leaving

    def action_record(self) -> None:
        if self.scene is None:
            return
        if self.scene.player is not None:
            self.notify("A recording is open; only a live vehicle is recorded.", severity="warning")
        elif self.is_recording:
            self._stop_recording()
        else:
            self.push_screen(AskText(question(self.picture), proposed()), self._record_to)

    @property
    def is_recording(self) -> bool:
        if self.scene is None or self.scene.player is not None or self.picture is None:
            return False
        recorder = self.picture.recorder
        return recorder is not None and not (recorder.failure or recorder.is_closing)

    def _stop_recording(self) -> None:
        assert self.scene is not None
        assert self.picture is not None
        assert self.picture.recorder is not None
        self.tell(self.made.stop(self.scene, self.picture.recorder.name))

    def _record_to(self, name: str | None) -> None:
        if name and self.scene is not None:
            self.tell(self.made.begin(self.scene, name))

    def tell(self, text: str) -> None:
        """A message, its words taken as they are."""
        self.notify(text, markup=False)

    def action_leave(self) -> None:
        self.unless_recording("Stop it and leave", self.exit)

    def unless_recording(self, words: str, go: Callable[[], None], stay: Callable[[], None] = lambda: None) -> None:
        """Go at once; while a recording goes on ask first, once, and stay where the answer is no."""

        def answered(yes: bool | None) -> None:
            (go if yes else stay)()

        if not self.is_recording:
            go()
        elif isinstance(self.screen, AskYes):
            stay()
        else:
            self.push_screen(AskYes("A recording goes on.", words, "Stay"), answered)

    async def action_quit(self) -> None:
        self.action_leave()

    # --- the simulated van of the demo

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """The key of the van does nothing without one, and is not listed then."""
        return action != "van" or self.van is not None

    def action_van(self) -> None:
        if self.van is not None and isinstance(self.screen, BoardScreen):
            self.push_screen(VanFaults(self.van))

    # --- files

    def write_text(self, text: str) -> None:
        """Ask for a file name and write a text there."""

        def write(name: str | None) -> None:
            if name:
                self.tell(write_new(Path(name), text + "\n") or f"Written to {name}.")

        self.push_screen(AskText("Write the row to this file:", str(free_name(Path("busprobe-row.txt")))), write)

    # --- command palette

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        return commands(self, screen)
