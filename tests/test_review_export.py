"""What is taken out of the page: for the browser to keep, or written beside the document through the one gate."""

import io
import json
import zipfile

import pypdfium2
import pytest

from cuesuggest.export import FORMATS
from cuesuggest.review.taken_out import offered
from cuesuggest.song import SetTitle, Song, change
from tests.reviewing import Page

PLAIN = {"paper": "a4", "who": "", "plain": False, "into": "downloads"}
BESIDE = {**PLAIN, "into": "folder", "folder": ""}


@pytest.fixture
def export(server):
    def ask(*files, **more):
        status, headers, body = server.ask("POST", "/export", {**PLAIN, "files": list(files), **more})
        name = headers.get("x-file-name")
        return status, name or json.loads(body), body

    return ask


def names(folder):
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if "kept" not in path.parts)


def test_one_file_comes_as_it_is_and_several_in_one_archive(export, document):
    status, name, body = export(".cues.csv")
    assert (status, name) == (200, "evening.cues.csv")
    assert body.count(b"\r\n") > 3
    status, name, body = export(".page.pdf", ".cues.csv", ".mid")
    assert (status, name) == (200, "evening.zip")
    with zipfile.ZipFile(io.BytesIO(body)) as archive:
        assert archive.namelist() == ["evening.page.pdf", "evening.cues.csv", "evening.mid"]
        assert archive.read("evening.page.pdf").startswith(b"%PDF")
    assert names(document.parent) == ["evening.cues.json", "evening.wav"]


def test_the_cue_numbers_stay_from_then_on_and_the_next_print_marks_what_has_changed(export, server, document):
    export(".cues.csv")
    assert Song.load(document).numbers_frozen
    export(".list.pdf")
    assert Song.load(document).printed.edition == 1
    cue = next(each for each in Song.load(document).cues if each.level)
    assert server.act("level", cue=cue.id, level=20)[0] == 200  # the page goes on with what was noted
    export(".list.pdf")
    printed = Song.load(document).printed
    assert (printed.edition, printed.changed) == (2, (cue.id,))


def test_paper_has_the_size_that_was_chosen(export):
    for paper, size in (("a4", (595, 842)), ("letter", (612, 792))):
        page = pypdfium2.PdfDocument(export(".page.pdf", paper=paper)[2])[0]
        assert sorted(page.get_size()) == pytest.approx(size, abs=1)


def test_a_list_is_somebodys_and_a_volunteers_has_no_lasers(export, server):
    assert server.act("add", kind="call", note="house light to half", who="Nele", bar=3, beat=1)[0] == 200
    everybody = export(".page.html")[2].decode()
    assert "Nele; the others" not in everybody
    assert "Nele; the others" in export(".page.html", who="Nele")[2].decode()
    plain = export(".page.html", plain=True)[2].decode()
    assert len(plain) < len(everybody)
    status, answer, _ = export(".page.html", who="Nobody")
    assert (status, "no cue for 'Nobody'" in answer["error"]) == (422, True)


def test_files_are_written_beside_the_document_and_into_folders_in_there(export, document):
    assert export(".cues.csv", ".mid", **BESIDE)[1] == {"written": ["evening.cues.csv", "evening.mid"], "left_out": []}
    status, answer, _ = export(".mid", **{**BESIDE, "folder": "for the desk/tonight"})
    assert (status, answer) == (200, {"written": ["for the desk/tonight/evening.mid"], "left_out": []})
    assert [each for each in names(document.parent) if "." in each] == [
        "evening.cues.csv", "evening.cues.json", "evening.mid", "evening.wav", "for the desk/tonight/evening.mid",
    ]  # fmt: skip


def test_what_is_there_is_replaced_only_where_that_was_asked_for(export, document):
    mine = document.with_name("evening.mid")
    mine.write_text("mine")
    status, answer, _ = export(".cues.csv", ".mid", **BESIDE)
    assert (status, answer["there"]) == (409, ["evening.mid"])
    assert mine.read_text() == "mine"
    assert names(document.parent) == ["evening.cues.json", "evening.mid", "evening.wav"]
    assert not Song.load(document).numbers_frozen
    assert export(".cues.csv", ".mid", **BESIDE, replace=True)[0] == 200
    assert mine.read_bytes().startswith(b"MThd")


def test_nothing_is_written_outside_the_documents_folder(export, document, tmp_path):
    (tmp_path / "out").mkdir()
    document.with_name("link").symlink_to(tmp_path / "out")
    for folder in ("..", "../out", "a/../../out", str(tmp_path / "out"), "link", "link/deeper"):
        status, answer, _ = export(".cues.csv", **{**BESIDE, "folder": folder})
        assert (status, "not in the document's folder" in answer["error"]) == (422, True), folder
    # Nor through a file of that name which leads elsewhere: it is there, and is not replaced unasked.
    document.with_name("evening.cues.csv").symlink_to(document)
    status, answer, _ = export(".cues.csv", **BESIDE, replace=True)
    assert (status, "never written over" in answer["error"]) == (422, True)
    assert list((tmp_path / "out").iterdir()) == []
    assert Song.load(document).title


def test_a_file_that_another_program_has_changed_is_not_exported(export, server, document):
    server.song()
    change(Song.load(document), SetTitle("From the shell"), by="command line").save(document)
    status, answer, _ = export(".cues.csv", **BESIDE)
    assert (status, "changed by another program; nothing was exported" in answer["error"]) == (422, True)
    assert names(document.parent) == ["evening.cues.json", "evening.wav"]


@pytest.mark.parametrize(
    "wrong",
    [
        {"files": []}, {"files": [".exe"]}, {"files": [".markers.wav"]}, {"files": ".mid"},
        {"files": [".mid"] * 101}, {"files": ["/../.mid"]}, {"paper": "a0"}, {"who": 3}, {"plain": "yes"},
        {"into": "cloud"}, {**BESIDE, "folder": "x" * 501}, {**BESIDE, "folder": None}, {**BESIDE, "replace": 1},
        {**BESIDE, "folder": "x" * 400},
    ],
    ids=str,
)  # fmt: skip
def test_what_is_no_export_is_answered_in_a_sentence(server, document, wrong):
    before = document.read_bytes()
    status, _, body = server.ask("POST", "/export", {**PLAIN, "files": [".mid"], **wrong})
    assert (status, json.loads(body)["error"][-1]) == (422, ".")
    assert document.read_bytes() == before
    assert names(document.parent) == ["evening.cues.json", "evening.wav"]


def test_every_format_of_the_page_says_what_it_is_for_and_speaks_of_no_command():
    shown = offered()
    assert {each["name"] for each in shown} == set(FORMATS) - {
        *["markers", "practice", "show-audio", "chapters", "dawproject"]
    }
    for each in shown:
        assert len(each["purpose"]) > 15
        assert "--" not in each["purpose"]
        assert "`" not in each["purpose"]
        assert each["files"]


@pytest.fixture
def page(server, chromium):
    context = chromium.new_context(viewport={"width": 1440, "height": 900}, accept_downloads=True)
    server.windows.append(context)
    shown = Page(context.new_page(), server.address)
    yield shown
    assert shown.problems == []


def test_an_export_is_taken_away(page, document):
    page.press("Shift+e")
    page.page.uncheck("#export input[value='.page.pdf']")
    page.page.check("#export input[value='.cues.csv']")
    with page.page.expect_download() as coming:
        page.press("Enter")
    assert coming.value.suggested_filename == "evening.cues.csv"
    page.told("Exported: evening.cues.csv")
    assert Song.load(document).numbers_frozen
    page.press("Home", "ArrowDown", "Enter")
    page.told("accepted")  # on the document as it is since


def test_the_dialog_writes_beside_the_document_and_asks_before_it_replaces(page, document):
    mine = document.parent / "print" / "evening.list.pdf"
    mine.parent.mkdir()
    mine.write_text("mine")
    page.press("Shift+e")
    assert not page.page.is_visible("#export input[name=folder]")
    page.page.check("#export input[value='.list.pdf']")
    page.page.select_option("#export select[name=into]", "folder")
    page.page.fill("#export input[name=folder]", "print")
    page.page.select_option("#export select[name=paper]", "letter")
    page.press("Enter")
    page.page.wait_for_selector("#export .replace:not([hidden])")
    assert "evening.list.pdf is there already. Nothing was written." in page.text("#export")
    assert mine.read_text() == "mine"
    page.page.click("#export .replace")
    page.told("Written beside the document: print/evening.page.pdf, print/evening.list.pdf")
    assert sorted(pypdfium2.PdfDocument(mine)[0].get_size()) == pytest.approx((612, 792), abs=1)
    # What was chosen is there the next time.
    page.press("Shift+e")
    assert page.page.input_value("#export input[name=folder]") == "print"
    assert page.page.is_checked("#export input[value='.list.pdf']")


def test_export_that_is_pressed_again_while_it_works_exports_once(page, document):
    asked = []
    page.page.route("**/export?*", lambda route: asked.append(route))
    page.press("Shift+e", "Enter", "Enter")
    page.page.click("#export .first")
    for _ in range(100):  # at once, but for a slow machine
        page.page.wait_for_timeout(100)
        if asked:
            break
    page.page.wait_for_timeout(100)
    assert len(asked) == 1
    with page.page.expect_download():
        asked[0].continue_()
    page.told("Exported: evening.page.pdf")
    assert Song.load(document).printed.edition == 1


def test_where_nothing_is_chosen_or_the_place_is_wrong_the_dialog_says_so_and_stays(page):
    page.press("Shift+e")
    page.page.uncheck("#export input[value='.page.pdf']")
    page.press("Enter")
    page.page.wait_for_function("() => document.querySelector('#export').innerText.includes('No file is chosen')")
    page.page.check("#export input[value='.mid']")
    page.page.select_option("#export select[name=into]", "folder")
    page.page.fill("#export input[name=folder]", "../elsewhere")
    page.press("Enter")
    page.page.wait_for_function("() => document.querySelector('#export').innerText.includes('not in the document')")
    page.press("Escape")
    assert page.page.locator("#export[open]").count() == 0
