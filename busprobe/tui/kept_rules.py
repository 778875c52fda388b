"""Rules of the style sheets, read once: at the start they are as good as half of the time to the first picture."""

from __future__ import annotations

from textual.css.stylesheet import Stylesheet


class KeptRules(Stylesheet):
    """What was read stays read while the variables of the theme are the same.

    Textual reads all sheets anew whenever a screen comes up for the first time.
    """

    def set_variables(self, variables: dict[str, str]) -> None:
        if variables != self._variables:
            super().set_variables(variables)

    def reparse(self) -> None:
        """Read what has been added; the rest is known (`Stylesheet` begins with nothing known, in case of errors)."""
        self.parse()
