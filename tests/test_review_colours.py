"""The colours of a look on the page: seen with its cues, said in a form, refused in words, taken back."""

from cuesuggest.song import SetTitle, Song, change
from tests.reviewing import barriers, until


def coloured(document, look):
    there = next(each for each in Song.load(document).looks if each.id == look)
    return there.colours, there.colour_relation, there.decided


def test_the_colours_of_a_cues_look_are_said_in_one_form_and_taken_back_with_one_key(page, document):
    song = Song.load(document)
    cue = next(each for each in song.cues if each.look)
    look = next(each for each in song.looks if each.id == cue.look)
    page.press("Escape")
    page.page.click(f'#chart text[data-cue="{cue.id}"]')
    page.slip(f"{look.name}: {look.colours} colour")
    page.slip(look.colour_relation)
    page.press("Shift+C")
    assert page.text("#ask-title") == f"Colours of {look.name}"
    page.press("Enter")  # nothing was changed, so nothing is done
    page.page.wait_for_selector("#ask:not([open])", state="attached")
    assert Song.load(document).revision == song.revision
    # Words of another number of colours do not stay.
    page.press("Shift+C", "Control+A", "3", "Enter")
    page.told("colours 3")
    assert coloured(document, look.id) == (3, "3 colours of your choice", True)
    page.slip("3 colours (3 colours of your choice)")
    page.press("Shift+C", "Tab", "Control+A")
    page.type("amber, red and white")
    page.press("Enter")
    page.told("amber, red and white")
    assert coloured(document, look.id) == (3, "amber, red and white", True)
    page.press("u", "u")
    until(lambda: coloured(document, look.id) == (look.colours, look.colour_relation, False))
    page.slip(look.colour_relation)


def test_more_colours_than_a_look_has_are_refused_and_a_cue_without_a_look_has_none(page, server, document):
    look = Song.load(document).looks[0].id
    for many in (0, 13, 2.5):
        status, answer = server.act("colours", look=look, colours=many)
        assert (status, "colours" in answer["error"]) == (422, True)
    assert server.act("colours", look="fog", colours=2)[0] == 422
    server.act("add", kind="call", note="house light to half", bar=3, beat=1)
    page.reload()
    added = next(each for each in Song.load(document).cues if each.status == "added")
    page.press("Escape")
    page.page.click(f'#chart text[data-cue="{added.id}"]')
    page.slip("house light")
    assert page.page.locator("#slip [data-do=colours]").count() == 0
    page.press("Shift+C")
    page.told("has no look")


def test_the_colours_of_a_look_are_said_by_touch_alone(server, opened, document):
    page = opened(server, viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    cue = next(each for each in Song.load(document).cues if each.look)
    page.page.tap("#strip [data-do=leave]")
    page.page.tap("#strip [data-do=cue-on]")
    page.slip(f"Cue {cue.number:g} ")
    page.page.tap("#slip [data-do=colours]")
    fields = page.page.locator("#ask input, #ask button")
    assert min(min(fields.nth(k).bounding_box()[side] for side in ("width", "height")) for k in range(4)) >= 44
    assert barriers(page.page) == []
    page.page.fill("#ask [name=colours]", "1")
    page.page.tap("#ask button[value=done]")
    page.told("one colour")
    assert coloured(document, cue.look) == (1, "one colour", True)
    page.page.tap("#strip [data-do=undo]")
    page.told("Taken back")
    assert not coloured(document, cue.look)[2]
    assert page.problems == []


def test_colours_said_of_a_document_that_changed_on_the_disk_meanwhile_are_not_written_over_it(page, document):
    cue = next(each for each in Song.load(document).cues if each.look)
    page.press("Escape")
    page.page.click(f'#chart text[data-cue="{cue.id}"]')
    page.slip(f"Cue {cue.number:g} ")
    page.press("Shift+C", "Control+A", "4")
    change(Song.load(document), SetTitle("From the shell"), by="command line").save(document)
    page.press("Enter")
    page.page.wait_for_function("() => document.querySelector('#ask .wrong').textContent.includes('another program')")
    assert (Song.load(document).title, coloured(document, cue.look)[2]) == ("From the shell", False)
    page.press("Escape")
    page.page.wait_for_selector("#conflict:not([hidden])")
    page.press("f")
    page.told("Shown is now what the file holds")
    page.page.click(f'#chart text[data-cue="{cue.id}"]')
    page.press("Shift+C")  # what was typed is offered again
    assert page.page.input_value("#ask [name=colours]") == "4"
    page.press("Enter")
    page.told("colours 4")
    assert coloured(document, cue.look)[0] == 4
