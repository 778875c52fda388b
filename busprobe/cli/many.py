"""Options that take several values in a row, as in `--database body.dbc drive.dbc`."""

from __future__ import annotations

from collections.abc import Sequence

import click


class ManyCommand(click.Command):
    """A command whose `multiple` options may be given once with several values.

    That holds only after the command's argument: in `survey --database a.dbc drive.log` the
    last word is the recording.
    """

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        options = {name: one for one in self.params if isinstance(one, click.Option) for name in one.opts}
        return super().parse_args(ctx, spread(args, options))


def spread(words: Sequence[str], options: dict[str, click.Option]) -> list[str]:
    """Command line with the option's name put before each further value of a `multiple` option."""
    out: list[str] = []
    many: str | None = None
    has_argument = False
    rest = iter(words)
    for word in rest:
        if word == "--":
            return [*out, word, *rest]
        if word.startswith("-") and len(word) > 1:
            name, has_value, _ = word.partition("=")
            option = options.get(name)
            out.append(word)
            takes_value = option is not None and not option.is_flag
            if takes_value and not has_value:
                out += [value for value in (next(rest, None),) if value is not None]
            many = name if option is not None and option.multiple and has_argument else None
        elif many is not None:
            out += [many, word]
        else:
            out.append(word)
            has_argument = True
    return out
