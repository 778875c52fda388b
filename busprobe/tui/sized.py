"""An app for terminals of any size: classes that tell the size, and messages that leave room for the rest."""

from __future__ import annotations

from textual.notifications import SeverityLevel

from busprobe.tui.colourless import ColourApp


class SizedApp(ColourApp):
    """Every screen of it has a class for its width and one for its height, for style sheets."""

    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (70, "-normal"), (110, "-wide")]  # noqa: RUF012
    VERTICAL_BREAKPOINTS = [(0, "-low"), (20, "-middle"), (34, "-high")]  # noqa: RUF012

    def notify(
        self,
        message: str,
        *,
        title: str = "",
        severity: SeverityLevel = "information",
        timeout: float | None = None,
        markup: bool = True,
    ) -> None:
        """Tell something in passing. What is told once more takes the place of what was told before."""
        for told in [one for one in self._notifications if one.message == message]:
            self._unnotify(told, refresh=False)
        super().notify(message, title=title, severity=severity, timeout=timeout, markup=markup)
