"""The command `loftbook`: gathers the commands, and turns what goes wrong into one line."""

import os
import sys
from importlib.metadata import PackageNotFoundError, entry_points, version

import typer

from ground.commands.ask import ask
from ground.commands.card import card
from ground.commands.export import export
from ground.commands.follow import follow
from ground.commands.new import new
from ground.commands.recover import recover
from ground.commands.replay import replay
from ground.commands.report import report
from ground.errors import LoftbookError
from ground.report.plain import printable
from protocol.table import FORMAT_VERSION

PLUGIN_GROUP = "loftbook.commands"
_LONGEST_MESSAGE = 2000
OWN_COMMANDS = {
    "new": new, "card": card, "recover": recover, "report": report, "ask": ask, "export": export,
    "replay": replay, "follow": follow,
}  # fmt: skip


def _show_version(wanted: bool):
    if wanted:
        try:
            number = version("loftbook")
        except PackageNotFoundError:
            number = "(not installed)"
        typer.echo(f"loftbook {number}, record format {FORMAT_VERSION}")
        raise typer.Exit()


def _root(
    show_version: bool = typer.Option(
        False, "--version", callback=_show_version, is_eager=True, help="Show the version and exit."
    ),
):
    """Turns what came back from a balloon flight into a record to trust.

    \b
    Example, on the evening of the flight:
      loftbook recover napraforgo-card.img -o napraforgo-1
    """


def build_app(plugins=None) -> typer.Typer:
    """Put the commands together.

    plugins: entry points whose value is a function with typer's annotations; without it, those
    that the installed packages announce in the group `loftbook.commands`. A plug-in that cannot
    be loaded is left out of the help, and says why when it is called.
    """
    application = _new_app()
    application.callback()(_root)
    for name, function in OWN_COMMANDS.items():
        application.command(name)(function)
    if plugins is None:
        plugins = entry_points(group=PLUGIN_GROUP)
    for plugin in plugins:
        if plugin.name not in OWN_COMMANDS:
            _add_plugin(application, plugin)
    return application


def _new_app():
    return typer.Typer(
        name="loftbook",
        add_completion=False,
        no_args_is_help=True,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["-h", "--help"]},
    )


def _add_plugin(application, plugin):
    try:
        function = plugin.load()
        trial = _new_app()
        trial.command(plugin.name)(function)
        typer.main.get_command(trial)  # whatever is wrong with the annotations shows here
    except Exception as error:  # a plug-in can fail in any way and must not take the others along
        function = _broken(plugin.name, error)
        settings = {"ignore_unknown_options": True, "allow_extra_args": True, "help_option_names": []}
        application.command(plugin.name, hidden=True, context_settings=settings)(function)
    else:
        application.command(plugin.name)(function)


def _broken(name, error):
    def explain():
        raise LoftbookError(
            f"{name}: this command cannot be loaded ({type(error).__name__}: {error}); "
            "reinstall the package it is from"
        )

    return explain


def main(arguments=None):
    """Run a command line; ends the program with the command's exit code.

    arguments: list of str; without it, those that the program was started with.
    """
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(
                errors="backslashreplace"
            )  # a terminal that lacks a character still gets the line
    try:
        try:
            build_app()(args=arguments, prog_name="loftbook")
        finally:
            sys.stdout.flush()
    except LoftbookError as error:
        _end(str(error), error.exit_code)
    except KeyboardInterrupt:
        sys.exit(130)
    except BrokenPipeError:
        # Whoever read the output has gone; without this the interpreter complains when it flushes.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(1)
    except OSError as error:
        _end(f"{error.filename or 'system'}: {error.strerror or error}", 1)


def _end(message, exit_code):
    line = printable(" ".join(message.split()), _LONGEST_MESSAGE)  # names of files may hold anything
    print(f"loftbook: {line}", file=sys.stderr)
    sys.exit(exit_code)
