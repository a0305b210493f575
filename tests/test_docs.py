"""What the documents say is true of the program."""

import re
import shlex
from pathlib import Path

import click
import pytest

import cuesuggest
from cuesuggest.cli import cli
from cuesuggest.export import chosen
from tests.renew import renewed

ROOT = Path(__file__).parent.parent
PAGES = sorted(
    str(path.relative_to(ROOT))
    for folder in (".", "docs", "samples", ".github", ".github/ISSUE_TEMPLATE")
    for path in (ROOT / folder).glob("*.md")
)


def read(name):
    return (ROOT / name).read_text(encoding="utf-8")


def block(page, language):
    """The only piece of a page that is marked as this language."""
    (found,) = re.findall(rf"```{language}\n(.*?)```", read(page), re.DOTALL)
    return found


def test_the_python_example_of_the_readme_runs(tmp_path, monkeypatch, capsys):
    example = block("README.md", "python")
    (tmp_path / "samples").mkdir()
    (tmp_path / "samples" / "first_light.ogg").write_bytes((ROOT / "samples" / "first_light.ogg").read_bytes())
    monkeypatch.chdir(tmp_path)
    exec(compile(example, "README.md", "exec"), {})
    assert "It comes in with the band" in capsys.readouterr().out
    assert (tmp_path / "first_light.cues.json").exists()
    assert len(example.strip().splitlines()) <= 11


def test_the_cue_list_in_the_readme_is_what_the_sample_gives(run, sample_song, tmp_path):
    sample_song.save(tmp_path / "first_light.cues.json")
    _, out, _ = run("list", tmp_path / "first_light.cues.json", columns=100)
    lines = iter(out.splitlines())
    for shown in block("README.md", "text").splitlines():
        assert shown in lines, f"not in the list, or not behind the line above: {shown}"


def test_every_command_is_in_the_readme():
    for name in cli.commands:
        assert re.search(f"cuesuggest {name}[ `]", read("README.md")), name


def test_the_readme_opens_with_two_commands_of_one_line_each():
    blocks = re.findall(r"```sh\n(.*?)\n```", read("README.md"), re.DOTALL)
    assert len(blocks) == 2
    assert not any("\n" in block for block in blocks)
    assert blocks[1].endswith("-m pytest")


@pytest.mark.parametrize("page", PAGES)
def test_links_and_pictures_lead_somewhere(page):
    for target in re.findall(r"\]\(([^)#]+)\)|src=\"([^\"]+)\"", read(page)):
        assert (ROOT / page).parent.joinpath("".join(target)).exists(), target


def test_every_document_and_picture_is_shown_somewhere():
    index = read("docs/README.md")
    for path in (ROOT / "docs").iterdir():
        assert path.name == "README.md" or f"]({path.name})" in index, path.name
    pages = "".join(map(read, PAGES))
    for picture in (ROOT / "docs" / "pictures").iterdir():
        assert f"pictures/{picture.name}" in pages, picture.name


def commands_in(page):
    """What a page tells to type, in a line or on lines of its own."""
    text = read(page)
    found = re.findall(r"`(cuesuggest [^`\n]+)`", text) + re.findall(r"^(?: {4})?(cuesuggest .+)$", text, re.MULTILINE)
    return [shlex.split(each.split("  ")[0].split(" | ")[0], comments=True)[1:] for each in found]


def options_of(command):
    """Every option of a command and of those below it."""
    below = command.commands.values() if isinstance(command, click.Group) else []
    own = {name for each in command.params if isinstance(each, click.Option) for name in each.opts}
    return own.union(*map(options_of, below)) | {"--help"}


@pytest.mark.parametrize("page", [page for page in PAGES if commands_in(page)])
def test_the_commands_that_a_page_tells_are_there_with_their_options_and_formats(page):
    for name, *words in commands_in(page):
        if name == "COMMAND" or name.startswith("--"):
            continue
        assert name in cli.commands, name
        for word in words:
            if re.fullmatch(r"-[a-z]|--[a-z-]+", word):
                assert word in options_of(cli.commands[name]), (name, word)
        if name == "export" and "--to" in words and "NAME" not in (to := words[words.index("--to") + 1]):
            assert chosen(to)


@pytest.mark.parametrize("page", PAGES)
def test_the_modules_that_a_page_runs_are_there(page):
    for module in re.findall(r"python -m ((?:cuesuggest|tests)[\w.]*)", read(page)):
        place = ROOT.joinpath(*module.split("."))
        assert place.with_suffix(".py").exists() or (place / "__main__.py").exists(), module


def test_what_is_checked_before_a_commit_is_what_ci_checks():
    hooks = re.findall(r"entry: (.+)", read(".pre-commit-config.yaml"))
    assert len(hooks) == 3
    for hook in hooks:
        assert f"\n{hook}" in read(".ci/run"), hook


@pytest.mark.parametrize("path", renewed(), ids=lambda path: path.name)
def test_what_the_program_writes_into_docs_is_fresh(path):
    assert path.read_text(encoding="utf-8") == renewed()[path], "run: python -m tests.renew"


def test_the_version_is_the_same_everywhere():
    assert f'version = "{cuesuggest.__version__}"' in read("pyproject.toml")
    assert f"## {cuesuggest.__version__}" in read("docs/changelog.md")


def test_every_module_of_the_package_that_the_architecture_names_is_there():
    for name in re.findall(r"`((?:\w+/)*\w+(?:\.py|/))`", read("docs/architecture.md")):
        assert (ROOT / "cuesuggest" / name).exists() or (ROOT / name).exists(), name


def test_every_module_that_the_page_of_rules_names_is_there():
    for name in re.findall(r"`((?:\w+/)*\w+\.py)`", read("docs/rules.md")):
        assert (ROOT / name).exists() or (ROOT / "cuesuggest" / "rules" / name).exists(), name
