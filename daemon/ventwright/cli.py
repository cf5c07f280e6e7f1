"""The console script `ventwright`. Each command lives in commands/ and is loaded when called."""

import importlib
from typing import Any

import click

_COMMANDS = {
    "rehearse": "try the whole daemon on emulated parts in a simulated room, no hardware needed",
    "find": "find out what is plugged in, and write it as configuration",
    "check": "go through the configuration and the hardware, switching nothing unless asked",
    "run": "watch this room until stopped",
    "status": "tell what the running daemon sees and does",
    "averages": "tell means, indexes and shift averages beside the published limits",
    "exposure": "tell what a person in the room took in, beside limits and guidelines",
    "report": "write a report of a day, a week, a trial, a comparison or a commissioning",
    "replay": "tell what would have happened to recorded data with these rules, or with others",
    "size": "work out the air that a room needs and how long to wait after a print",
    "commission": "measure once what extraction does to this room, or analyse a decay in a file",
    "export": "write readings, minutes or hours as a CSV or Parquet table",
    "copy": "copy the store while it is written to",
    "agree": "compare two parts side by side, and say what makes one read like the other",
    "trial": "guide test prints, mark past ones, and tell what they emitted",
    "compare": "compare conditions of test prints, or of a table, and say what they could show",
    "repeats": "tell how many prints it takes to show a ratio",
    "acknowledge": "say that an alarm was seen",
    "shelve": "set an alarm aside for a time",
    "unshelve": "take a shelved alarm back",
    "reset": "reset a latched alarm that was acknowledged",
    "out-of-service": "set an alarm aside until it is put back, as for maintenance",
    "in-service": "put an alarm back that is out of service",
    "hold": "hold an extractor on or off for a time",
    "release": "let a held extractor decide by itself again",
}

_ASKING = (
    "acknowledge",
    "shelve",
    "unshelve",
    "reset",
    "out-of-service",
    "in-service",
    "hold",
    "release",
)

BEGUN = "ventwright.begun"
"""Set in the context's meta by a rehearsal that has something to tell."""

_INTERRUPTED = 130
"""Exit status after Ctrl-C, as of a shell's."""


class _Lazy(click.Group):
    """Loads a command's module only when the command is called."""

    _loaded = False

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:  # noqa: ARG002
        if name not in _COMMANDS:
            return None
        module = importlib.import_module(f"ventwright.commands.{_module(name)}")
        command: click.Command = getattr(module, name.replace("-", "_"))
        self._loaded = True
        return command

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; a Ctrl-C that it does not obey itself ends it with a sentence."""
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt:
            begun = self._loaded and ctx.meta.get(BEGUN, ctx.invoked_subcommand != "rehearse")
            early = "" if begun else " before it began: nothing was measured"
            click.echo(f"Stopped by Ctrl-C{early}.", err=True)
            ctx.exit(_INTERRUPTED)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        with formatter.section("Commands"):
            formatter.write_dl(list(_COMMANDS.items()))


def _module(name: str) -> str:
    return "asking" if name in _ASKING else name


@click.command(cls=_Lazy)
@click.version_option(package_name="ventwright")
def main() -> None:
    """Watch the air beside filament printers, extract until it has recovered, and prove it.

    Not a certified alarm and no medical device: certified smoke and CO alarms stay where they
    are. Low-cost optical sensors do not see ultrafine particles.
    """
