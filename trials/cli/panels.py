"""The commands in groups, by who mostly uses them, as the help lists them."""

from __future__ import annotations

from typing import Any

from typer.core import TyperGroup

EVERYBODY = "Begin, and see where a trial stands"
ENGINEER = "Process engineer: plan, study, decide"
OPERATOR = "At the machine"
INSPECTOR = "Inspector: measure, record, grade"
KEEPING = "Whoever keeps the records"
PANELS = (EVERYBODY, ENGINEER, OPERATOR, INSPECTOR, KEEPING)


class Grouped(TyperGroup):
    """A group of commands whose help lists them by who uses them, each group in the order of registration."""

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Write a part for each group of commands."""
        commands = [(name, self.get_command(ctx, name)) for name in self.list_commands(ctx)]
        shown = [(name, command) for name, command in commands if command is not None and not command.hidden]
        room = formatter.width - 6 - max((len(name) for name, _ in shown), default=0)
        for panel in PANELS:
            own = [(n, c.get_short_help_str(room)) for n, c in shown if getattr(c, "rich_help_panel", None) == panel]
            if own:
                with formatter.section(panel):
                    formatter.write_dl(own)
