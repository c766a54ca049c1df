"""The README's list of every command's options, made from the commands themselves.

python tests/readme_help.py        # writes it into the README between its two marks
"""

from pathlib import Path

import typer

from energy.cli import app

README = Path(__file__).parents[1] / "README.md"
BEGIN, END = "<!-- options: made by tests/readme_help.py -->\n", "<!-- end of options -->\n"


def options() -> str:
    """A line a command: what it answers, and every option with its own help."""
    lines = []
    for name, command in sorted(typer.main.get_command(app).commands.items()):
        lines.append(f"- `energy {name}`: {command.help}\n")
        for parameter in command.params:
            if parameter.param_type_name == "option" and parameter.name != "help":
                shown = max(parameter.opts, key=len)
                value = "" if parameter.is_flag else f" {parameter.metavar or 'VALUE'}"
                lines.append(f"  - `{shown}{value}` {parameter.help}\n")
    return "".join(lines)


def main() -> None:
    text = README.read_text(encoding="utf-8")
    before, rest = text.split(BEGIN)
    README.write_text(before + BEGIN + options() + END + rest.split(END)[1], encoding="utf-8")


if __name__ == "__main__":
    main()
