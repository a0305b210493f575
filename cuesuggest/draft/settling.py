"""A song after edits: heard anew under what they state, drafted anew around what they decide; and what clashes then."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from cuesuggest.analysis.listen import Step
from cuesuggest.analysis.types import SongAnalysis
from cuesuggest.draft.again.carried_sections import Hearing, carried
from cuesuggest.draft.again.merge import Rerun, merged
from cuesuggest.draft.again.pins import pins
from cuesuggest.draft.again.redraft import redrafted
from cuesuggest.draft.again.same_sound import Match, compare
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
    if _heard_otherwise(before, after):
        return "hearing anew"
    return "drafting anew" if _drafted_otherwise(before, after) else ""


def settled(before: Song, after: Song, document: str | Path, step: Step | None = None) -> tuple[Song, Rerun | None]:
    """Hear a song anew if an edit states something about its music, or names another part or recording as the song.

    Around another vamp or category, or for another style or rig, it is drafted anew.

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
    if not _heard_otherwise(before, after):
        return redrafted(after) if _drafted_otherwise(before, after) else (after, None)
    heard = open_recording(source_of(Path(document), after))
    if heard.sha256 != after.recording.sha256:
        raise RecordingChangedError(
            f"{heard.path} is not the file that the document was made from, so nothing can be stated about its times. "
            f"Run suggest on {document} first."
        )
    chosen = Order().chosen(after)
    analysis = listened(heard, chosen.window, after.corrections, step)
    match, sound = _answering(before, after, analysis)
    analysis, lost = carried(after, analysis, sound, earlier_hearing(before, after))
    fresh = fresh_song(heard, analysis, chosen, Path(document), step, pins(after, analysis, match))
    if before.recording.sha256 == heard.sha256 and chosen.window.end is not None:
        # Some files do not tell their length: what was known of it is not forgotten with a part of it.
        length = max(fresh.recording.duration, before.recording.duration)
        fresh = fresh.replaced(recording=replace(fresh.recording, duration=length))
    return with_clashes(*merged(after, fresh, match, lost, revision=after.revision))


def _heard_otherwise(before: Song, after: Song) -> bool:
    return before.corrections != after.corrections or before.recording != after.recording


def _drafted_otherwise(before: Song, after: Song) -> bool:
    settings = (before.profile, before.rig) != (after.profile, after.rig)
    return settings or _decided_of_sections(before) != _decided_of_sections(after)


def _answering(before: Song, after: Song, analysis: SongAnalysis) -> tuple[Match, Match]:
    """Return what a cue holds on to, and how the sound of the recording before answers that of the one now."""
    if before.recording.sha256 != after.recording.sha256:
        match = compare(before.analysis, analysis)
        return match, match
    keeps = {entry.edit.keeps for entry in _new_entries(before, after) if isinstance(entry.edit, SetCorrections)}
    return Match("bars" if keeps == {"bars"} else "seconds"), Match("same")


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
