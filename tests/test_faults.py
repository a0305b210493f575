"""A small part of `tests.benchmarks.faults` each time, and that it sees what it is there to see."""

import os
import signal
import sys
from random import Random

import pytest

if sys.platform != "linux":
    pytest.skip("Limits of processes are set as Linux has them.", allow_module_level=True)

from cuesuggest.errors import CuesuggestError
from tests.benchmarks.faults import wild
from tests.benchmarks.faults.__main__ import KINDS, prepared, spec, table
from tests.benchmarks.faults.conditions import conditions
from tests.benchmarks.faults.kills import kills
from tests.benchmarks.faults.kind import Input, Kind, unchanged
from tests.benchmarks.faults.running import met
from tests.benchmarks.faults.worker import kind_of, place_in, random_for

SEED = 1
COUNTS = {
    "documents": 10,
    "recordings": 10,
    "read": 40,
    "settings": 16,
    "maps": 8,
    "forms": 60,
    "page": 8,
    "options": 8,
}


class Broken(Kind):
    """A program that does with each input what it must not."""

    name = "broken"
    seconds = 1

    def draw(self, folder, chance):
        return Input("given.txt", b"%d" % chance.randrange(10**9))

    def meet(self, given, folder, scratch, chance):
        return _DONE[int((folder / "do").read_text())](scratch)


def _hung(scratch):
    while True:
        pass


def _changed(scratch):
    (scratch / "document").write_text("before")
    with unchanged(scratch / "document"):
        (scratch / "document").write_text("after")
        raise CuesuggestError("This is refused.")


def _refused(scratch):
    raise CuesuggestError("This is refused.")


_DONE = [
    lambda scratch: [][1],
    lambda scratch: os.kill(os.getpid(), signal.SIGSEGV),
    _hung,
    lambda scratch: bytearray(2 * 10**9),
    lambda scratch: print("Traceback (most recent call last):", file=sys.stderr),
    lambda scratch: os.write(2, b"libsound: bad frame\n"),
    _changed,
    _refused,
    lambda scratch: True,
]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The song that is attacked, and the files made from it."""
    folder = tmp_path_factory.mktemp("attacked")
    with pytest.MonkeyPatch.context() as patch:
        for name in ("CUESUGGEST_CACHE", "XDG_STATE_HOME", "TMPDIR", "PYTHONPATH"):
            patch.setenv(name, os.environ.get(name, ""))  # put back afterwards
        prepared(folder, list(COUNTS))
    return folder


@pytest.mark.parametrize(
    ("done", "class_"),
    [
        (0, "IndexError in ?"),
        (1, f"died with {-signal.SIGSEGV} in ?"),
        (2, "hang (processor time) in ?"),
        (3, "MemoryError in ?"),
        (4, "a trace on the screen in ?"),
        (5, "a library's line on the screen in ?"),
        (6, "refused, and yet changed on the disk in ?"),
    ],
)
def test_a_program_that_does_what_it_must_not_is_found_out(folder, tmp_path, done, class_):
    (folder / "do").write_text(str(done))
    outcome = met("tests.test_faults:Broken", folder, tmp_path, [7], seed=SEED)
    assert dict(outcome.failures) == {class_: 1}
    again = "python -m tests.benchmarks.faults --kinds broken --seed 1 --only 7"
    assert outcome.first == {class_: again}
    kind = kind_of("tests.test_faults:Broken")
    assert (tmp_path / "broken-7-given.txt").read_bytes() == kind.draw(folder, random_for(kind, SEED, 7)).data
    assert again in (tmp_path / "broken-7.txt").read_text()
    assert f"broken: 1 × {class_}" in table([outcome])


@pytest.mark.parametrize(("done", "refused", "accepted"), [(7, 3, 0), (8, 0, 3)])
def test_what_is_refused_or_accepted_as_it_should_be_is_counted(folder, tmp_path, done, refused, accepted):
    (folder / "do").write_text(str(done))
    outcome = met("tests.test_faults:Broken", folder, tmp_path, range(3), seed=SEED)
    assert (outcome.inputs, outcome.refused, outcome.accepted) == (3, refused, accepted)
    assert not outcome.failures


@pytest.mark.parametrize("name", COUNTS)
def test_broken_input_ends_in_a_sentence_or_is_worked_with(folder, tmp_path, name):
    outcome = met(spec(name), folder, tmp_path, range(COUNTS[name]), seed=SEED)
    assert not outcome.failures, table([outcome])
    assert outcome.inputs == COUNTS[name]
    assert outcome.refused
    assert outcome.accepted


def test_a_song_is_heard_anew_under_any_statement_or_the_statement_refused(folder, tmp_path):
    outcome = met(spec("corrections"), folder, tmp_path, range(2), seed=SEED)
    assert not outcome.failures, table([outcome])


def test_a_killed_command_and_a_killed_page_lose_nothing(folder, tmp_path):
    outcome = kills(folder, tmp_path, [0, 5], seed=SEED)
    assert not outcome.failures, table([outcome])
    assert outcome.inputs == 2


@pytest.mark.parametrize("name", ["two tabs", "programs with different temporary folders", "full standard output"])
def test_a_machine_that_fails_and_others_that_write_lose_nothing(folder, tmp_path, name):
    outcome = conditions(folder, tmp_path, [name])
    assert not outcome.failures, table([outcome])


@pytest.mark.parametrize("name", KINDS)
def test_the_same_seed_and_number_give_the_same_input_and_others_another(folder, name):
    kind = kind_of(spec(name))
    drawn = [kind.draw(folder, random_for(kind, SEED, number)) for number in (1, 1, 2)]
    assert drawn[0] == drawn[1] != drawn[2]


def test_values_far_out_and_near_by_are_both_drawn():
    chance = Random(1)
    numbers = [wild.number(chance, 8) for _ in range(300)]
    assert any(isinstance(each, int) and each > 10**30 for each in numbers)
    assert {7, 9} <= set(numbers)
    assert len({wild.text(chance, "verse") for _ in range(300)}) > 100


def test_the_place_of_an_error_is_the_innermost_function_of_the_program():
    inner, other = 'File "/x/cuesuggest/song/b.py", line 9, in g', 'File "/y/json.py", line 1, in h'
    trace = f'File "/x/cuesuggest/cli/a.py", line 3, in f\n{inner}\n{other}'
    assert place_in(trace) == "cuesuggest/song/b.py:g"
    assert place_in(f"{trace}\nDuring handling of the above exception, another …\n{trace}") == "cuesuggest/song/b.py:g"
    assert (
        place_in('(most recent call first):\n  File "/x/cuesuggest/song/b.py", line 9 in g') == "cuesuggest/song/b.py:g"
    )
    assert place_in("no trace") == "?"
