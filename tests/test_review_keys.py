"""The tasks that come up most, walked through on the page from the open song, each with its keys counted."""

import time

import pytest

from cuesuggest.errors import DocumentError
from cuesuggest.review.session import Session
from cuesuggest.score.deeds import Answer, JudgeCues, Question, SectionStarts
from cuesuggest.song import Song
from tests.reviewing import WIDE, Page, barriers, hosting


@pytest.fixture
def open_page(chromium):
    """Open a document in a window of its own; what the page complains of is looked at afterwards."""
    pages = []

    def open_(server, **options):
        context = chromium.new_context(**{"viewport": WIDE, **options})
        server.windows.append(context)
        pages.append(Page(context.new_page(), server.address))
        if "Question" in pages[-1].text("#slip"):
            pages[-1].press("Escape")
        return pages[-1]

    yield open_
    for page in pages:
        assert page.problems == []


@pytest.fixture
def page(document, open_page):
    with hosting(document) as server:
        yield open_page(server)


class Counted:
    """Presses keys, and counts them."""

    def __init__(self, page):
        self.page, self.keys = page, []

    def __call__(self, *keys):
        self.page.press(*keys)
        self.keys += keys


@pytest.fixture
def press(page):
    return Counted(page)


def saved(document):
    return Song.load(document)


def planned(song, section_id):
    return next(each for each in song.plan if each.section == section_id)


def added(document):
    return [cue for cue in saved(document).cues if cue.status == "added"]


def test_bars_two_beats_off_take_two_keys_and_one_hearing(page, press, document, monkeypatch):
    from cuesuggest.draft import settling

    hearings = []
    listened = settling.listened
    monkeypatch.setattr(settling, "listened", lambda *given: hearings.append(given) or listened(*given))
    before = saved(document).analysis.bars
    press("m", "3")
    page.told("1 and 3 are swapped")
    after = saved(document).analysis.bars
    beat = (before[4].end - before[4].start) / 4
    assert min(abs(bar.start - before[4].start - 2 * beat) for bar in after) < 0.06
    assert (len(press.keys), len(hearings)) == (2, 1)


def test_a_one_shot_on_this_bar_takes_one_key_and_is_the_chosen_cue(page, press, document):
    bar = saved(document).analysis.bars[6]
    page.seek(bar.start)
    press("j")
    page.told("added")
    (new,) = added(document)
    assert (new.kind, new.place.bar, new.place.beat) == ("one-shot", bar.number, 1.0)
    page.slip(f"Cue {new.number:g} ")
    # It is what the next keys are about.
    page.press(".")
    page.told("beat 2")
    assert added(document)[0].place.beat == 2.0
    assert len(press.keys) == 1


def test_so_it_does_while_the_song_plays_also_for_a_hand_that_is_early(page, press, document):
    bar = saved(document).analysis.bars[6]
    page.seek(bar.start - 0.35 * (bar.end - bar.start) / 4)
    page.page.evaluate("() => { sound.playbackRate = 0.0625; return sound.play() }")
    press("j")
    page.told("added")
    page.press("Space")
    (new,) = added(document)
    assert (new.place.bar, new.place.beat, len(press.keys)) == (bar.number, 1.0, 1)


def test_a_dark_on_this_stop_takes_one_key(document, open_page):
    from cuesuggest.analysis.types import Event

    song = saved(document)
    lit = next(cue for cue in song.cues if cue.kind in ("fade-in", "crossfade", "cut-in"))
    bar = next(each for each in song.analysis.bars if each.start > lit.place.seconds + 6)
    beat = (bar.end - bar.start) / 4
    stop = Event("stop", bar.start + 2 * beat, bar.start + 3.2 * beat, bar.number, 3.0, 0.9)
    events = tuple(sorted((*song.analysis.events, stop), key=lambda event: event.start))
    heard = {**song.__dict__, "analysis": _with(song.analysis, events=events), "revision": song.revision + 1}
    Song.model_validate(heard).save(document, expected_revision=song.revision)
    with hosting(document) as server:
        page = open_page(server)
        press = Counted(page)
        page.seek(bar.start + 0.01)
        press("w")
        page.told("dark held")
        (dark,) = added(document)
        assert (dark.trigger, dark.place.seconds) == ("held", pytest.approx(stop.start, abs=0.02))
        page.slip(f"Cue {dark.number:g} ")
        assert len(press.keys) == 1


def _with(record, **values):
    from dataclasses import replace

    return replace(record, **values)


def test_a_fade_is_made_longer_with_a_key_a_beat_and_with_one_twice_as_long(page, press, document):
    cue = next(each for each in saved(document).cues if each.kind in ("fade-in", "crossfade") and each.up_beats)
    page.page.click(f'#chart text[data-cue="{cue.id}"]')

    def beats():
        return next(each for each in saved(document).cues if each.id == cue.id).up_beats

    press("Shift+ArrowUp")
    page.told(f"up over {cue.up_beats + 1:g} beats")
    assert beats() == cue.up_beats + 1
    press("Shift+ArrowDown")
    page.told(f"up over {cue.up_beats:g} beats")
    press("Shift+PageUp")
    page.told(f"up over {2 * cue.up_beats:g} beats")
    assert (beats(), len(press.keys)) == (2 * cue.up_beats, 3)


def test_the_whole_draft_is_accepted_with_one_key_and_taken_back_with_one(page, press, document):
    press("Shift+Enter")
    page.told("the whole draft accepted")
    assert {cue.status for cue in saved(document).cues} == {"accepted"}
    page.page.wait_for_function("() => document.querySelector('#told').innerText.includes('every cue decided')")
    page.press("u")
    page.told("taken back: the whole draft")
    assert {cue.status for cue in saved(document).cues} == {"suggested"}
    assert len(press.keys) == 1


def test_a_section_is_accepted_with_one_key(page, press, document):
    cue = next(each for each in saved(document).cues if each.place.section)
    page.seek(cue.place.seconds + 0.02)
    press("Shift+a")
    page.told("accepted")
    here = (cue.place.section, cue.place.pass_)
    for each in saved(document).cues:
        assert each.status == ("accepted" if (each.place.section, each.place.pass_) == here else "suggested")
    assert len(press.keys) == 1


def test_a_lift_becomes_intense_with_two_keys_and_nothing_elsewhere_has_to_be_repaired(page, press, document):
    before = saved(document)
    lift = next(each for each in before.plan if each.category == "lift")
    section = next(each for each in before.analysis.sections if each.id == lift.section)
    page.seek(section.start + 0.02)
    press("s", "3")
    page.told(": intense")
    after = saved(document)
    assert planned(after, lift.section).category == "intense"
    others = {each.section: each.category for each in before.plan if each.section != lift.section}
    assert {each.section: each.category for each in after.plan if each.section != lift.section} == others
    assert "does not go together" not in page.text("#told")
    assert len(press.keys) == 2
    # Its bars are marked, for eyes and for ears.
    assert page.page.locator("#chart path.changed").count() >= 1
    assert f"{section.label}{section.pass_}" in page.text("#changed-about")


def test_a_section_is_named_alone_or_with_all_of_its_letter_as_is_chosen_and_seen_in_the_act(page, document):
    sections = saved(document).analysis.sections
    several = next(each for each in sections if sum(other.label == each.label for other in sections) > 1)
    page.seek(several.start + 0.02)
    page.press("m", "s")
    assert page.page.input_value("#ask select[name=all]") == ""
    assert f"every {several.label}: " in page.text("#ask")
    page.type("Strophe")
    page.press("Enter")
    closed = "() => !document.querySelector('#ask').open"
    page.page.wait_for_function(closed)
    assert [each.id for each in saved(document).analysis.sections if each.name == "Strophe"] == [several.id]
    page.press("s", "Tab", "ArrowDown", "Enter")
    page.page.wait_for_function(closed)
    named = {each.id for each in saved(document).analysis.sections if each.name == "Strophe"}
    assert named == {each.id for each in sections if each.label == several.label}


# Menus, scopes, forms.


def test_a_menu_stays_until_it_is_left_and_one_listens_and_goes_on_in_it(page, document):
    sections = saved(document).analysis.sections
    page.press("Home", "Shift+ArrowRight", "s", "1")
    page.told("subtle")
    page.press("Shift+ArrowRight", "2")
    page.told("lift")
    page.press("u")
    page.told("taken back")
    page.slip("Light of ")
    assert planned(saved(document), sections[0].id).decided == "subtle"
    page.press("Escape")
    page.page.wait_for_function("() => !document.querySelector('#slip').innerText.includes('Light of ')")


def test_a_scope_is_seen_and_counts_for_the_menu_that_it_was_chosen_in_alone(page):
    page.press("Home", "Shift+ArrowRight", "m")
    page.slip("beats and bars: whole song")
    page.slip("only")
    page.press("o", "r")
    page.slip("beats and bars: from bar")
    page.slip("section keys: every")
    page.press("Escape", "m")
    page.slip("beats and bars: whole song")


def test_a_form_keeps_what_was_typed_after_a_refusal_and_after_it_was_left(page, document):
    page.press("m", "f")
    page.page.fill("#ask textarea", "intro 8")
    page.page.focus("#ask textarea")
    page.press("End", "Enter")
    page.type("(verse")
    assert page.page.input_value("#ask textarea") == "intro 8\n(verse"
    assert "Ctrl Enter" in page.text("#ask button.first")
    page.press("Control+Enter")
    page.page.wait_for_function("() => document.querySelector('#ask .wrong').innerText.includes('column')")
    assert page.page.input_value("#ask textarea") == "intro 8\n(verse"
    page.press("Escape", "f")
    assert page.page.input_value("#ask textarea") == "intro 8\n(verse"
    assert "As you left it" in page.text("#ask")
    page.page.fill("#ask textarea", "intro 8, chorus 8, verse 8, chorus 8, chorus 8")
    page.press("Control+Enter")
    page.told("form of 5 parts")
    assert not page.page.is_visible("#ask")
    page.press("f")
    assert "As you left it" not in page.text("#ask")


def test_the_edit_form_asks_for_values_and_a_note_and_for_no_sentence(page, document):
    page.press("Home", "ArrowDown", "e")
    names = page.page.evaluate("() => [...document.querySelectorAll('#ask [name]')].map((each) => each.name)")
    assert "hand" not in names
    page.page.fill("#ask input[name=note]", "ask the drummer")
    page.press("Enter")
    page.told("note ask the drummer")
    assert saved(document).cues[0].note == "ask the drummer"


def test_forgetting_all_that_was_stated_is_asked_back_and_enter_leaves_it(page, document):
    page.press("m", "0")
    page.told("Nothing was stated")
    page.press("ArrowRight")
    page.told("1 beat later")
    page.press("0", "Enter")
    assert not page.page.is_visible("#ask")
    assert saved(document).corrections
    page.press("0")
    assert "bar lines" in page.text("#ask")
    page.press("f")
    page.told("taken back")
    assert saved(document).corrections == ()


# Work is shown.


def slowly(monkeypatch, seconds=1.5):
    from cuesuggest.draft import settling

    settled = settling.settled

    def wait(*given):
        time.sleep(seconds)
        return settled(*given)

    monkeypatch.setattr(settling, "settled", wait)


def test_while_the_song_is_heard_anew_the_page_says_so_and_keys_that_change_it_wait(page, document, monkeypatch):
    slowly(monkeypatch)
    page.press("Home", "ArrowDown", "m", "ArrowRight")
    assert page.text("#work") == "Hearing anew…"
    assert page.page.get_attribute("#work", "aria-live") == "polite"
    page.press("Space")
    page.page.wait_for_function("() => !sound.paused")  # listening goes on
    page.press("Space", "3")
    page.page.wait_for_function("() => document.querySelector('#work').innerText.includes('1 key waits')")
    assert saved(document).revision == 0
    page.told("1 beat later")
    page.told("1 and 3 are swapped")
    page.page.wait_for_function("() => document.querySelector('#work').innerText === ''")
    assert [entry.said for entry in saved(document).history if entry.said][-1].startswith("1 and 3")


def test_keys_that_waited_for_work_that_was_refused_are_dropped(page, document, monkeypatch):
    from cuesuggest.draft import settling

    def refuse(*_):
        time.sleep(1)
        raise DocumentError("The recording is not there.")

    monkeypatch.setattr(settling, "settled", refuse)
    page.press("Home", "ArrowDown", "m", "ArrowRight", "3")
    page.told("The recording is not there")
    page.page.wait_for_timeout(300)
    assert page.text("#work") == ""
    assert saved(document).revision == 0


def test_a_save_that_fails_is_said_large_and_what_was_decided_is_not_shown(page, document, monkeypatch):
    from cuesuggest.song import files

    def refuse(*_, **__):
        raise OSError(30, "Read-only file system")

    before = saved(document)
    seen = page.text("#chart svg")
    with monkeypatch.context() as broken:
        broken.setattr(files, "fresh_file", refuse)
        for keys in (("Home", "ArrowDown", "Enter"), ("j",), ("m", "ArrowRight"), ("Escape", "Shift+Enter")):
            page.press(*keys)
            page.page.wait_for_selector("#unsaved:not([hidden])")
            page.page.wait_for_function("() => document.querySelector('#work').innerText === ''")
            assert "Not saved" in page.text("#unsaved")
            assert "read-only file system" in page.text("#unsaved")
            page.page.wait_for_function("() => !document.querySelector('#chart text.accepted, #chart text.added')")
            assert page.text("#chart svg") == seen
            page.page.evaluate("() => { document.querySelector('#unsaved').hidden = true }")
    size = page.page.evaluate("() => parseFloat(getComputedStyle(document.querySelector('#unsaved')).fontSize)")
    assert size >= 18
    assert saved(document) == before
    page.press("j")
    page.told("added")
    assert page.page.is_hidden("#unsaved")


def test_a_look_that_nobody_answers_is_no_failed_save_and_takes_none_off_the_page(page):
    def look():
        with page.page.expect_event("requestfailed", lambda request: "/disk" in request.url):
            page.page.evaluate("() => document.dispatchEvent(new Event('visibilitychange'))")
        page.page.wait_for_function("() => document.querySelector('#told .wrong')")

    page.page.route("**/disk?*", lambda route: route.abort())
    look()
    page.told("the program has stopped")
    assert page.page.is_hidden("#unsaved")
    page.page.route("**/act?*", lambda route: route.abort())
    page.press("j")
    page.page.wait_for_selector("#unsaved:not([hidden])")
    look()
    assert page.page.is_visible("#unsaved")
    page.problems[:] = [each for each in page.problems if "Failed to load resource" not in each]


def test_a_session_whose_folder_is_gone_changes_nothing(document):
    from cuesuggest.review.actions import ACTIONS
    from cuesuggest.review.asked import Asked
    from cuesuggest.review.session import BehindError, NotSavedError

    session = Session(document)
    before = session.song
    document.parent.rename(document.parent.with_name("elsewhere"))
    with pytest.raises((NotSavedError, BehindError)):
        session.act(before.revision, lambda song: ACTIONS["accept-all"](song, Asked({})))
    assert session.song is before
    assert session.changed == ()


# Questions point.


@pytest.fixture
def asked(document, open_page):
    song = saved(document)
    section = song.analysis.sections[1]
    answers = (
        Answer("here", SectionStarts(section.mark, section.first_bar)),
        Answer("a bar later", SectionStarts(section.mark, section.first_bar + 1)),
    )
    start = Question(f"start/{section.id}", "Where does it start?", section.start - 2, (song.cues[0].id,), answers)
    song.replaced(questions=(start,), revision=song.revision + 1).save(document)
    with hosting(document) as server:
        page = open_page(server)
        page.press("q")
        page.slip("Where does it start?")
        yield page, song.analysis, section


def test_the_places_that_a_question_is_about_are_marked_on_the_chart(asked):
    page, _, _ = asked
    pins = page.page.evaluate(
        """() => [...document.querySelectorAll('#chart g.pin')].map((pin) => {
             const box = pin.querySelector('rect').getBoundingClientRect();
             return [pin.querySelector('text').textContent, Math.round(box.left), Math.round(box.top)];
           })"""
    )
    assert [text for text, _, _ in pins] == ["1", "2"]
    assert pins[0][1:] != pins[1][1:]
    page.press("Escape")
    assert page.page.locator("#chart g.pin").count() == 0


def test_marks_pins_and_what_is_said_large_can_be_read_by_everybody(asked):
    page, _, _ = asked
    page.press("j")
    page.told("added")
    page.press("q")
    page.page.wait_for_selector("#chart g.pin")
    page.page.evaluate("() => { document.querySelector('#work').textContent = 'Hearing anew…' }")
    page.page.evaluate(
        "() => { const u = document.querySelector('#unsaved'); u.hidden = false; u.textContent = 'Not saved.' }"
    )
    assert barriers(page.page) == []


def test_the_places_are_brought_onto_the_screen(document, open_page):
    song = saved(document)
    section = song.analysis.sections[-1]
    answers = (Answer("here", SectionStarts(section.mark, section.first_bar)),)
    late = Question(f"start/{section.id}", "Where does it start?", 1.0, (song.cues[0].id,), answers)
    song.replaced(questions=(late,), revision=song.revision + 1).save(document)
    with hosting(document) as server:
        page = open_page(server, viewport={"width": 520, "height": 420})
        page.press("q")
        page.page.wait_for_selector("#chart g.pin")
        page.page.wait_for_function(
            """() => { const pin = document.querySelector('#chart g.pin').getBoundingClientRect();
                 const chart = document.querySelector('#chart').getBoundingClientRect();
                 return pin.top >= chart.top && pin.bottom <= chart.bottom; }"""
        )


def test_each_answer_is_heard_before_it_is_given_by_a_key_or_a_press_on_its_number(asked):
    page, analysis, section = asked
    later = next(bar for bar in analysis.bars if bar.number == section.first_bar + 1)
    page.press("k")
    page.page.wait_for_function("at => sound.src.includes(`reading=from%20${at}`)", arg=f"{section.start:.4f}")
    page.page.wait_for_function("() => !sound.paused")
    page.page.click("#chart g.pin >> nth=1")
    page.page.wait_for_function("at => sound.src.includes(`reading=from%20${at}`)", arg=f"{later.start:.4f}")
    page.page.wait_for_function("() => document.querySelector('#state').innerText.includes('round answer 2')")
    page.press("k")
    page.page.wait_for_function("() => !sound.src.includes('click')")
    assert "round" not in page.text("#state")
    page.press("k", "Escape")
    page.page.wait_for_function("() => !sound.src.includes('reading')")
    assert "round" not in page.text("#state")


def test_an_answer_goes_round_no_more_once_an_arrow_leads_to_a_cue(asked):
    page, _, _ = asked
    page.press("k")
    page.page.wait_for_function("() => document.querySelector('#state').innerText.includes('round answer 1')")
    page.press("ArrowDown")
    page.slip("Cue ")
    assert "round" not in page.text("#state")
    page.page.wait_for_function("() => !sound.src.includes('reading')")


def test_after_the_last_answer_the_page_says_that_nothing_is_open(document, open_page):
    song = saved(document)
    cue = song.cues[1]
    answers = (Answer("yes", JudgeCues("accepted", (cue.id,))), Answer("no", JudgeCues("rejected", (cue.id,))))
    asked = Question("stop/1", "Does it stop?", cue.place.seconds, (cue.id,), answers)
    song.replaced(questions=(asked,), revision=song.revision + 1).save(document)
    with hosting(document) as server:
        page = open_page(server)
        page.told("1 question passed over")
        page.press("q", "2")
        page.told("No question is open any more")
        page.told("no question open")
        page.slip("Space plays")
        page.press("q")
        page.told("No question is open.")


def test_a_question_that_is_asked_again_stays_when_the_song_is_drawn_anew(asked):
    page, _, _ = asked
    page.sized(1200, 800)
    page.slip("Where does it start?")
    page.told("question open")


# What changed is marked, until the next act.


def test_bars_that_an_act_changed_are_marked_until_the_next_and_after_a_reload(page, document):
    bar = saved(document).analysis.bars[6]
    page.seek(bar.start)
    page.press("j")
    page.told("added")
    marked = "() => [...document.querySelectorAll('#chart rect.changed')].length"
    assert page.page.evaluate(marked) == 1
    words = page.text("#changed-about")
    assert words.startswith("Changed last: ")
    page.reload()
    assert page.page.evaluate(marked) == 1
    page.press("Shift+t")
    page.page.fill("#ask input", "Other Evening")
    page.press("Enter")
    page.told("called")
    assert page.page.evaluate(marked) == 0
    assert page.text("#changed-about") == ""
