"""What every screen has: header, footer, panels with a key each, zoom, filter, copy."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, cast

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Container
from textual.content import Content
from textual.dom import DOMNode
from textual.events import ScreenResume
from textual.message import Message
from textual.reactive import Reactive
from textual.screen import Screen
from textual.widget import Widget
from textual.widgets import Input

from busprobe.session.snapshot import Snapshot
from busprobe.tui.keys import KEYS, bindings, key_text
from busprobe.tui.screens.pick import PickSignal
from busprobe.tui.squeezed import is_hidden, is_squeezed_out, leads_nowhere
from busprobe.tui.view.footline import Item
from busprobe.tui.view.spans import shortened
from busprobe.tui.view.times import clock
from busprobe.tui.widgets.askline import Answer, AskLine
from busprobe.tui.widgets.filterline import FilterLine
from busprobe.tui.widgets.footline import Footline
from busprobe.tui.widgets.headline import Headline
from busprobe.tui.widgets.rows import Rows
from busprobe.tui.widgets.timebar import PlayerBar

if TYPE_CHECKING:
    from busprobe.tui.app import BusprobeApp

FIRST_PANEL_KEY = 2
"""Panels are reached with F2, F3, …"""


class Body(Container):
    """What lies between header and footer; only what is in it is painted."""

    BLANK = True

    class Resized(Message):
        """It, or what is in it, has another size: the terminal has, or a line or list beside it came or went."""

    def on_resize(self) -> None:
        self.post_message(self.Resized())


class BoardScreen(Screen[None]):
    """A screen that paints the snapshots it is shown.

    A child gives `NAME`, `compose_body()` with its panels (widgets of the class "panel", each
    with a `border_title`) and `paint(picture)`. `paint` may be called at any time: it reads
    `self.words` (the filter) and the sizes of its widgets, and does no arithmetic of its own.
    """

    NAME: ClassVar[str] = ""
    """As in SCREENS."""
    BINDINGS: ClassVar[list[BindingType]] = [*bindings("board"), *bindings("replay")]
    BLANK = True  # only its widgets are painted
    focused: Reactive[Widget | None] = Reactive(None, repaint=False)
    """Who has the focus paints it; the rest of the screen need not be painted again."""

    picture: Snapshot | None = None
    """What is shown."""
    words: str = ""
    """The filter; empty: everything."""
    zoomed: Widget | None = None

    @property
    def board(self) -> BusprobeApp:
        """The app, with its own type."""
        return cast("BusprobeApp", self.app)

    def __init__(self) -> None:
        super().__init__()
        self._styled = ""
        """The theme that it was last shown in."""
        self._bar: PlayerBar | None = None
        """None: nothing is replayed."""
        self._titles: dict[Widget, str] = {}
        """Those that were set last; setting one repaints its panel."""

    # --- for children

    def compose_body(self) -> ComposeResult:
        """The panels."""
        raise NotImplementedError

    def paint(self, picture: Snapshot) -> None:
        """Bring the panels up to a picture."""
        raise NotImplementedError

    def copied(self) -> str | None:
        """What `y` copies; None: nothing is selected."""
        rows = self.focused if isinstance(self.focused, Rows) else None
        return rows.selected.as_text() if rows is not None and rows.selected is not None else None

    # --- what the app calls

    def show(self, picture: Snapshot) -> None:
        """Paint a picture."""
        self.picture = picture
        if not self.is_mounted:
            return
        self.query_one(Headline).show(picture, held=self.board.is_holding)
        self.paint(picture)
        if self._bar is not None:
            self._bar.show(picture)

    def repaint(self) -> None:
        """Paint the same picture again: another filter, order or choice."""
        if self.picture is not None:
            self.show(self.picture)

    # --- layout

    def compose(self) -> ComposeResult:
        yield Headline()
        with Body(id="body"):
            yield from self.compose_body()
        yield FilterLine()
        if self.board.replay is not None:
            self._bar = PlayerBar(self.board.replay)
            yield self._bar
        footer = [Item(key_text(k.keys).split()[0], k.words, k.action) for k in KEYS if k.footer]
        screens = [Item(e.key, e.words, f"app.go('{e.name}')", e.name == self.NAME) for e in self.board.entries]
        if self.board.van is not None:
            screens += [Item(key_text(k.keys), k.words, f"app.{k.action}") for k in KEYS if k.where == "demo"]
        yield Footline(footer, screens)
        yield AskLine()

    def on_mount(self) -> None:
        for number, panel in enumerate(self.query(".panel")):
            panel.border_title = f"F{FIRST_PANEL_KEY + number} {panel.border_title or ''}".strip()
        if self.board.picture is not None:
            self.call_after_refresh(self.show, self.board.picture)

    def on_screen_resume(self, event: ScreenResume) -> None:
        # Looking through the style sheet for every widget takes a fifth of what a key may take.
        event.refresh_styles = self._styled != self.app.theme
        self._styled = self.app.theme
        if self.board.picture is not None and self.board.picture is not self.picture:
            self.show(self.board.picture)

    def watch_focused(self, focused: Widget | None) -> None:
        """While something is typed at the foot, messages stand at the top."""
        for rack in self.query("ToastRack"):
            rack.set_class(isinstance(focused, Input), "-above")

    def on_body_resized(self) -> None:
        self.call_after_refresh(self.repaint)

    # --- panels

    def entitle(self, panel: Widget, words: str) -> None:
        """Give a panel another title behind its key; the words are taken as they are."""
        if self._titles.get(panel) != words:
            self._titles[panel] = words
            number = list(self.query(".panel")).index(panel)
            panel.border_title = Content(f"F{FIRST_PANEL_KEY + number} {words}")

    def action_panel(self, number: int) -> None:
        panel = next(iter(self.query(".panel")[number : number + 1]), None)
        if panel is None:
            return
        self.zoom(None)
        if is_hidden(panel):
            self.zoom(panel)
        for target in [w for w in panel.walk_children(Widget, with_self=True) if w.can_focus][:1]:
            self.focus_now(target)
        self.call_after_refresh(self.make_room, panel)

    def make_room(self, panel: Widget) -> None:
        """Give the body to a panel that has been squeezed out of it."""
        if self.zoomed is None and is_squeezed_out(panel, self.query_one("#body")):
            self.zoom(panel)

    def focus_now(self, widget: Widget) -> None:
        """Give a widget the focus before the next key comes; one that has yet to be shown gets it then."""
        self.set_focus(widget)
        if self.focused is not widget:
            widget.focus()

    def action_zoom(self) -> None:
        self.zoom(None if self.zoomed is not None else self._panel_in_focus())

    def zoom(self, panel: Widget | None) -> None:
        """Give the body to one panel, which stands in others of the class "-around"; None: back to all."""
        for widget in self.query(".-aside, .-around"):
            widget.remove_class("-aside", "-around")
        if self.zoomed is not None:
            self.zoomed.remove_class("-zoomed")
        self.zoomed = panel
        if panel is not None:
            panel.add_class("-zoomed")
            node: DOMNode = panel
            while node.id != "body" and node.parent is not None:
                for other in node.parent.children:
                    if other is not node:
                        other.add_class("-aside")
                node = node.parent
                node.add_class("-around")
        self.call_after_refresh(self.repaint)

    def _panel_in_focus(self) -> Widget | None:
        node: DOMNode | None = self.focused
        while node is not None and not node.has_class("panel"):
            node = node.parent
        return cast("Widget | None", node) or next(iter(self.query(".panel")), None)

    # --- filter

    def action_filter(self) -> None:
        self.focus_now(self.query_one(FilterLine).open())

    def on_input_changed(self, event: Input.Changed) -> None:
        if event.input.id == "filter":
            self.words = event.value
            self.repaint()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        if event.input.id == "filter":
            self._leave_filter(keep=bool(event.value))

    def action_back(self) -> None:
        if self.query_one(AskLine).is_asking:
            self.query_one(AskLine).leave()
        elif self.query_one(FilterLine).is_open:
            self._leave_filter(keep=False)
        elif self.zoomed is not None:
            self.zoom(None)
        elif self.board.replay is not None:
            self.board.replay.do("stop_loading")

    def _leave_filter(self, *, keep: bool) -> None:
        back = self.query_one(FilterLine).leave(keep=keep) or next(iter(self.query(Rows)), None)
        if back is not None:
            self.focus_now(back)

    # --- replay

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Keys of a replay do nothing live, nor do those of panels that there are not: they are not listed."""
        return (action != "player" or self.board.replay is not None) and not leads_nowhere(self, action, parameters)

    def action_player(self, what: str) -> None:
        if self.board.replay is not None:
            self.board.replay.do(what)

    def jump_to(self, t_ns: int | None) -> None:
        """Go to the instant of what is selected. t_ns: None where that is nothing."""
        picture, replay = self.picture, self.board.replay
        if t_ns is None or picture is None:
            self.notify("Nothing is selected to jump to.", severity="warning")
            return
        here = clock(t_ns - picture.start_ns, 3)
        if replay is None:
            self.notify(f"It was at {here}. A live vehicle cannot go back: open its recording.", severity="warning")
        elif t_ns < picture.start_ns:
            self.notify(f"It was at {here}, before the recording began.", severity="warning")
        else:
            replay.seek(t_ns)

    def action_pick_signal(self) -> None:
        """Choose the signal whose edges count, and stay on this screen."""

        def chosen(name: str | None) -> None:
            if name is not None:
                self.board.chosen = name
                self.repaint()

        if self.picture is not None:
            self.app.push_screen(PickSignal(self.picture.signals, self.board.chosen), chosen)

    def ask(self, question: str, answer: Answer, *, hint: str = "") -> None:
        """Ask for a line of text at the foot of the screen; Escape leaves it unanswered."""
        self.query_one(AskLine).ask(question, answer, hint=hint)

    # --- copying

    def action_copy(self) -> None:
        if text := self._copied():
            self.app.copy_to_clipboard(text)
            said = shortened(text, min(self.size.width - 12, 60))
            self.notify(f"Copied: {said}\nNot arrived? e writes it to a file.", markup=False)

    def action_write(self) -> None:
        if text := self._copied():
            self.board.write_text(text)

    def _copied(self) -> str | None:
        text = self.copied()
        if text is None:
            self.notify("Nothing is selected here. Move to a list with Tab.", severity="warning")
        return text
