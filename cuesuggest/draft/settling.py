"""A song after edits: heard anew under what they state, drafted anew around what they decide; and what clashes then."""

from __future__ import annotations

from pathlib import Path

from cuesuggest.analysis.listen import Step
from cuesuggest.draft.again.carried_sections import Hearing, carried
from cuesuggest.draft.again.merge import Rerun, merged
from cuesuggest.draft.again.pins import pins
from cuesuggest.draft.again.redraft import redrafted
from cuesuggest.draft.again.same_sound import Match
from cuesuggest.draft.clashes import with_clashes
from cuesuggest.draft.drafting import fresh_song, source_of
from cuesuggest.draft.listening import listened
from cuesuggest.draft.order import Order
from cuesuggest.errors import RecordingChangedError
from cuesuggest.song import HistoryEntry, SetCorrections, Song
from cuesuggest.sound.recording import open_recording

__all__ = ["earlier_hearing", "settled", "work_of"]


def work_of(before: Song, after: Song) -> str:
    """Say what a change of a song asks for before it is settled, for those who wait; nothing where it is done as is."""
    if before.corrections != after.corrections:
        return "hearing anew"
    return "drafting anew" if _decided_of_sections(before) != _decided_of_sections(after) else ""


def settled(before: Song, after: Song, document: str | Path, step: Step | None = None) -> tuple[Song, Rerun | None]:
    """Hear a song anew if an edit states something about its music; draft it anew around another vamp or category.

    Parameters
    ----------
    before, after : Song
        Around the edit, or several.
    document : str or Path
        Where the song lies, to find its recording; that is listened to only if nothing was kept of it.
    step : callable, optional
        Told the name of each step.

    Returns
    -------
    Song
        `after` itself if nothing of the kind was changed.
    Rerun or None

    Raises
    ------
    DocumentError, RecordingChangedError
        If the recording is not there, or is another one by now.
    """
    if before.corrections == after.corrections:
        return redrafted(after) if _decided_of_sections(before) != _decided_of_sections(after) else (after, None)
    heard = open_recording(source_of(Path(document), after))
    if heard.sha256 != after.recording.sha256:
        raise RecordingChangedError(
            f"{heard.path} is not the file that the document was made from, so nothing can be stated about its times. "
            f"Run suggest on {document} first."
        )
    chosen = Order().chosen(after)
    analysis = listened(heard, chosen.window, after.corrections, step)
    keeps = {entry.edit.keeps for entry in _new_entries(before, after) if isinstance(entry.edit, SetCorrections)}
    match = Match("bars" if keeps == {"bars"} else "seconds")
    analysis, lost = carried(after, analysis, Match("same"), earlier_hearing(before, after))
    fresh = fresh_song(heard, analysis, chosen, Path(document), step, pins(after, analysis, match))
    return with_clashes(*merged(after, fresh, match, lost, revision=after.revision))


def _decided_of_sections(song: Song) -> tuple[dict[str, str], dict[str, str]]:
    """Return what the designer has decided of whole sections: which go round, and how much light they get."""
    vamps = {section.id: section.vamp for section in song.analysis.sections if section.vamp}
    return vamps, {planned.section: planned.decided for planned in song.plan if planned.decided}


def earlier_hearing(before: Song, after: Song) -> Hearing:
    """Return the hearing whose ids and names hold on after an edit: the last, or the one before what was undone."""
    for edit in (entry.inverse for entry in before.history if entry not in after.history):
        if isinstance(edit, SetCorrections) and edit.sections and edit.corrections == after.corrections:
            return Hearing(edit.sections, edit.corrections)
    return Hearing(after.analysis.sections, before.corrections)


def _new_entries(before: Song, after: Song) -> list[HistoryEntry]:
    """Return the changes between two songs: made, made again, or taken back."""
    same = 0
    while same < min(len(before.history), len(after.history)) and before.history[same] == after.history[same]:
        same += 1
    return [*before.history[same:], *after.history[same:]]
