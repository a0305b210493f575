"""Changing lines at random: what may be changed, what is left alone, and which tests are asked."""

import pytest

from tests.benchmarks.mutations import ROOT, changes, files_that_reach

RULES = ROOT / "cuesuggest" / "rules" / "stays.py"


def made(source):
    """The changed texts, without the changes that are the same."""
    return {change.applied(source) for change in changes(source)}


@pytest.mark.parametrize(
    ("source", "changed"),
    [
        ("a < b", {"a <= b", "a > b"}),
        ("(a) - (b)", {"(a) + (b)"}),
        ("ä and b or not c", {"ä or b or not c", "ä and b and not c", "ä and b or c"}),
        ("np.maximum(a, b)", {"np.minimum(a, b)"}),
        ("a = 5", {"a = 6", "a = 4"}),
        ("a = 0.5", {"a = 0.55", "a = 0.45"}),
        ("a[0], b[-1]", {"a[-1], b[-1]", "a[0], b[0]"}),
        ("def f(a: int = True): ...", {"def f(a: int = False): ..."}),
        ("for a in b:\n    break", {"for a in b:\n    continue"}),
        ("a is not None", {"a is None"}),
    ],
)
def test_a_line_is_changed_in_one_place(source, changed):
    assert made(source) == changed


@pytest.mark.parametrize(
    "source",
    [
        '__all__ = ["a"]\n"""Less than 3."""',
        "@dataclass(frozen=True)\nclass A:\n    at: Literal[3]",
        "def f(a: dict[str, 3]) -> Literal[4]:\n    raise ValueError(5)",
        "round(a, 3)",
        'f"{a + 1:.3f}"',
        "zip(a, b, strict=True)",
    ],
)
def test_what_does_nothing_or_is_only_told_is_left_alone(source):
    assert made(source) == set()


def test_every_change_of_a_module_is_a_program_that_differs_in_one_line():
    source = RULES.read_text(encoding="utf-8")
    found = changes(source)
    assert len(found) > 20
    for change in found:
        changed = change.applied(source)
        compile(changed, "changed", "exec")
        pairs = enumerate(zip(source.split("\n"), changed.split("\n"), strict=True), start=1)
        assert [line for line, (before, after) in pairs if before != after] == [change.line]


def test_the_tests_that_import_a_module_are_asked_first():
    names = [path.name for path in files_that_reach(ROOT / "cuesuggest" / "export" / "chart" / "placing.py")]
    assert names[0] == "test_chart.py"
    assert "test_paper.py" in names
    assert "test_loudness.py" not in names, "it reaches no chart"
    assert "test_review_page.py" not in names, "it needs a browser"
