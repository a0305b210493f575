"""What the page is told of a song: the chart's geometry, and everything that a key may ask about."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from cuesuggest.decide.statements import described
from cuesuggest.export.chart import BARS_PER_LINE, as_json, lay_out
from cuesuggest.review.pointing import pointed_at
from cuesuggest.review.session import Session
from cuesuggest.review.shown_light import shown_light
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import hand_presses, held_until, in_order_of_hand, is_held
from cuesuggest.score.records import clock
from cuesuggest.song import Song
from cuesuggest.song.compared import stretch_words
from cuesuggest.song.hand_words import HandWords
from cuesuggest.song.open_questions import open_questions

__all__ = ["page_of"]

_LIGHT_DEEDS = ("judge-cues", "keep-place", "move-cue")  # answers for which the song is not heard anew
_NARROWEST, _WIDEST = 300.0, 4000.0  # px


def page_of(session: Session, bars_per_line: int, width: float) -> dict[str, Any]:
    """Return what the page shows.

    Parameters
    ----------
    session : Session
    bars_per_line : int
        16, 8 or 4; another number is taken as 16.
    width : float
        Of the chart, in px.

    Returns
    -------
    dict
        Ready for `json.dumps`.
    """
    song = session.song
    bars = bars_per_line if bars_per_line in BARS_PER_LINE else BARS_PER_LINE[0]
    return {
        "revision": song.revision,
        "document": session.document.name,
        "title": song.title,
        "style": song.profile.name,
        "rig": song.rig.name,
        "chart": as_json(lay_out(song, bars, min(max(width, _NARROWEST), _WIDEST))),
        "music": _music(song),
        "recording": {"name": song.recording.path.rpartition("/")[2], "seconds": song.recording.duration},
        "cues": _cues(song),
        "light": shown_light(song),
        "looks": [asdict(look) for look in song.looks],
        "sides": sorted({cue.side for cue in song.cues if cue.side}),
        "questions": [
            {
                "id": question.id,
                "text": question.text,
                "listen_at": question.listen_at,
                "cues": len(question.cues),
                "answers": [
                    {"id": index, "label": each.text, "hears": each.deed.do not in _LIGHT_DEEDS, **asdict(pointed)}
                    for index, (each, pointed) in enumerate(
                        zip(question.answers, pointed_at(song, question), strict=True)
                    )
                ],
            }
            for question in open_questions(song)
        ],
        "changed": _changed(session),
        "cautions": list(song.cautions),
        "unplaced": [
            f"Cue {each.cue.number:g} ({each.cue.kind}, {each.cue.place}): {each.why}" for each in song.unplaced
        ],
        "taken_over": list(song.taken_over.lines) if song.taken_over else [],
        "stated": described(song.corrections),
        "undo": session.undo_text(),
        "redo": session.redo_text(),
    }


def _changed(session: Session) -> dict[str, Any]:
    """Return the bars that the last action changed: by the seconds at which they start, and in words."""
    starts = {bar.number: bar.start for bar in session.song.analysis.bars}
    stretches = [
        [starts[number] for number in range(first, last + 1) if number in starts] for first, last in session.changed
    ]
    return {"stretches": stretches, "words": stretch_words(session.song, session.changed)}


def _music(song: Song) -> dict[str, Any]:
    analysis, window = song.analysis, song.recording.window
    plan = {each.section: each for each in song.plan}
    return {
        "start": window.start,
        "end": window.end,
        "tempo": analysis.tempo_bpm,
        "signature": analysis.time_signature,
        "beats": analysis.beats,
        "bars": [[bar.number, bar.start, bar.end, bar.beats, bar.time_signature] for bar in analysis.bars],
        "sections": [
            {
                "id": section.id,
                "label": section.label,
                "pass": section.pass_,
                "name": section.name,
                "words": section.first_words,
                "vamp": section.vamp,
                "first": section.first_bar,
                "last": section.last_bar,
                "start": section.start,
                "end": section.end,
                "category": plan[section.id].category if section.id in plan else None,
                "level": plan[section.id].level if section.id in plan else 0,
                "why": list(plan[section.id].reasons) if section.id in plan else [],
            }
            for section in analysis.sections
        ],
        "remarks": list(analysis.remarks),
    }


def _cues(song: Song) -> list[dict[str, Any]]:
    grid, words = Grid(song.analysis), HandWords(song)
    return [
        {
            **{
                name: getattr(cue, name)
                for name in (
                    "id",
                    "number",
                    "kind",
                    "trigger",
                    "anchor",
                    "reasons",
                    "cautions",
                    "confidence",
                    "look",
                    "side",
                    "level",
                    "up_beats",
                    "down_beats",
                    "who",
                    "status",
                    "note",
                    "lock",
                )
            },
            "by_itself": not cue.operator_confirms,
            "hand": words.of(cue),
            "action": words.short(cue),
            "where": str(place),
            "lands": None if place == cue.place else str(cue.place),
            "clock": clock(place.seconds),
            "seconds": place.seconds,
            "presses": [round(max(at, 0.0), 4) for at in hand_presses(cue, grid, song.looks)],
            "let_go": held_until(cue, song.analysis) if is_held(cue) else None,
            "bar": place.bar,
            "beat": place.beat,
            "section": place.section,
            "pass": place.pass_,
        }
        for place, cue in in_order_of_hand(song.cues, grid)
    ]
