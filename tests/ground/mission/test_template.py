"""`loftbook new`: the file that it writes loads, mentions every key, and tells the truth about defaults."""

import dataclasses
import re
import tomllib
from typing import get_args, get_origin

import pytest

from ground.cli import main
from ground.commands.new import make_mission, template
from ground.errors import LoftbookError
from ground.mission import load_mission, sections
from ground.mission.lines import key_lines


def all_on():
    """The template with every key that is switched off switched on."""
    return re.sub(r"(?m)^#(?=[^ \n])", "", template())


def parts(kind, content, path=()):
    """Each (dataclass, dict, path) in a mission's content."""
    yield kind, content, path
    for f in dataclasses.fields(kind):
        wanted = f.type if dataclasses.is_dataclass(f.type) else next(iter(get_args(f.type)), None)
        if f.name not in content or not dataclasses.is_dataclass(wanted):
            continue
        if get_origin(f.type) is tuple:
            for number, item in enumerate(content[f.name]):
                yield from parts(wanted, item, (*path, f.name, number))
        else:
            yield from parts(wanted, content[f.name], (*path, f.name))


def test_the_template_loads(tmp_path):
    mission = load_mission(make_mission(tmp_path / "napraforgo-1"))
    assert [switch.name for switch in mission.switches] == ["camera", "buzzer"]
    assert mission.downlink is None


def test_it_loads_with_everything_switched_on(tmp_path):
    path = tmp_path / "mission.toml"
    path.write_text(all_on(), "utf-8")
    mission = load_mission(path)
    assert mission.downlink == sections.Downlink()
    assert mission.probes and mission.switches[2].name == "heater"


def test_it_mentions_every_key_of_every_section():
    mentioned = {}
    for kind, content, _ in parts(sections.Mission, tomllib.loads(all_on())):
        mentioned.setdefault(kind, set()).update(content)
    kinds = {kind for kind in vars(sections).values() if dataclasses.is_dataclass(kind)}
    assert set(mentioned) == kinds
    for kind in kinds:
        assert mentioned[kind] == {f.name for f in dataclasses.fields(kind)}, kind.__name__


def test_what_it_calls_a_default_is_one_and_every_default_is_called_so():
    text = all_on()
    lines, rows = key_lines(text), text.splitlines()
    seen = 0
    for kind, content, path in parts(sections.Mission, tomllib.loads(text)):
        for f in dataclasses.fields(kind):
            if f.name not in content or f.default is dataclasses.MISSING or isinstance(content[f.name], dict | list):
                continue
            says_default = re.search(r"# default\b", rows[lines[(*path, f.name)] - 1]) is not None
            assert says_default == (content[f.name] == f.default), (*path, f.name)
            seen += says_default
    assert seen > 60


def test_it_says_that_it_is_invented_and_warns():
    text = template()
    assert "INVENTED" in text
    assert text.count("CAUTION") >= 4
    for word in ("lithium", "transmitting", "aviation authority", "hydrogen", "heater"):
        assert word in text


def test_every_line_is_an_explanation_a_key_or_a_key_that_is_off():
    for row in template().splitlines():
        assert re.match(r"#?$|# |#?\[|#?[a-z0-9_]+ = ", row), row
        assert len(row) <= 120


def test_the_command_makes_the_folder_with_the_file(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(SystemExit) as ended:
        main(["new", "napraforgo-1"])
    assert ended.value.code in (0, None)
    assert [path.name for path in (tmp_path / "napraforgo-1").iterdir()] == ["mission.toml"]
    assert (tmp_path / "napraforgo-1" / "mission.toml").read_text("utf-8") == template()
    assert "wrote napraforgo-1" in capsys.readouterr().out


def test_a_folder_that_exists_is_refused_and_left_alone(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "mission.toml").write_text("my own", "utf-8")
    with pytest.raises(SystemExit) as ended:
        main(["new", "mine"])
    assert ended.value.code == 1
    error = capsys.readouterr().err
    assert error.startswith("loftbook: mine: already exists") and error.count("\n") == 1
    assert (tmp_path / "mine" / "mission.toml").read_text("utf-8") == "my own"


def test_a_parent_that_is_missing_is_said(tmp_path):
    with pytest.raises(LoftbookError, match="parent folder does not exist"):
        make_mission(tmp_path / "nowhere" / "new")
    assert list(tmp_path.iterdir()) == []
