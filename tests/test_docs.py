"""What the documents say is true of the program."""

import re
from pathlib import Path

import cuesuggest
from cuesuggest.cli import cli

ROOT = Path(__file__).parent.parent


def read(name):
    return (ROOT / name).read_text(encoding="utf-8")


def test_the_python_example_of_the_readme_runs(tmp_path, monkeypatch, capsys):
    example = re.search(r"```python\n(.*?)```", read("README.md"), re.DOTALL)[1]
    (tmp_path / "samples").mkdir()
    (tmp_path / "samples" / "first_light.ogg").write_bytes((ROOT / "samples" / "first_light.ogg").read_bytes())
    monkeypatch.chdir(tmp_path)
    exec(compile(example, "README.md", "exec"), {})
    assert "because" in capsys.readouterr().out
    assert (tmp_path / "first_light.cues.json").exists()
    assert len(example.strip().splitlines()) <= 11


def test_every_command_is_in_the_readme():
    for name in cli.commands:
        assert re.search(f"cuesuggest {name}[ `]", read("README.md")), name


def test_the_readme_opens_with_two_commands_of_one_line_each():
    blocks = re.findall(r"```sh\n(.*?)\n```", read("README.md"), re.DOTALL)
    assert len(blocks) == 2
    assert not any("\n" in block for block in blocks)


def test_links_of_the_documents_lead_somewhere():
    for document in (
        "README.md",
        "DEVELOPERS.md",
        "docs/architecture.md",
        "docs/hearing.md",
        "docs/rules.md",
        "docs/house-styles.md",
        "docs/form.md",
        "docs/formats.md",
        "docs/paper.md",
        "docs/deviation.md",
        "docs/review.md",
        "docs/kit.md",
    ):
        for target in re.findall(r"\]\(([^)#]+)\)", read(document)):
            assert (ROOT / document).parent.joinpath(target).exists(), (document, target)


def test_the_version_is_the_same_everywhere():
    assert f'version = "{cuesuggest.__version__}"' in read("pyproject.toml")
    assert f"## {cuesuggest.__version__}" in read("docs/changelog.md")


def test_every_module_of_the_package_that_the_architecture_names_is_there():
    for name in re.findall(r"`((?:\w+/)*\w+(?:\.py|/))`", read("docs/architecture.md")):
        assert (ROOT / "cuesuggest" / name).exists() or (ROOT / name).exists(), name
