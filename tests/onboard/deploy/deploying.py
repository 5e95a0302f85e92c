"""Calls loftbook deploy as the command line does."""

from importlib.metadata import EntryPoint
from pathlib import Path

from typer.testing import CliRunner

import onboard.simulator
from ground.cli import PLUGIN_GROUP, build_app
from ground.errors import LoftbookError

DEMO_MISSION = Path(onboard.simulator.__file__).with_name("napraforgo-1.toml")
ENTRY = EntryPoint("deploy", "onboard.deploy.command:deploy", PLUGIN_GROUP)


def deploy(*words):
    """Returns (exit code, output or the error's line)."""
    result = CliRunner().invoke(build_app([ENTRY]), ["deploy", *map(str, words)])
    if isinstance(result.exception, LoftbookError):
        return result.exception.exit_code, str(result.exception)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.output
