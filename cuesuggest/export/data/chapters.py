"""A copy of the recording's sound with sections and cues as chapters, to jump to in a player.

Matroska (RFC 9559). The sound is copied as it is coded, so that nothing of it is lost; a picture is left out.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from cuesuggest.export.common.escape import one_line
from cuesuggest.export.common.options import Options, about, needed_sound
from cuesuggest.export.common.told import told, wording

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["write"]

_TOGETHER = 0.001  # Seconds; what is nearer begins one chapter.


def write(song: Song, options: Options) -> bytes:
    """Write the recording's sound with chapters.

    Parameters
    ----------
    song : Song
    options : Options
        Needs `sound`. Chapters lie at the recording's own times, whatever the offset.

    Returns
    -------
    bytes
        A Matroska file.

    Raises
    ------
    CuesuggestError
        If there is no sound, or it cannot be copied.
    """
    sound = needed_sound(options, "chapters")
    own_times = replace(options, timing=options.timing.of_recording())
    words = about(song, own_times)
    tags = {
        "title": one_line(words.title),
        "comment": one_line(f"take {words.take}; {words.caution}"),
        "encoded_by": one_line(words.made),
    }
    return sound.with_chapters(_chapters(song, own_times, sound.frames / sound.rate), tags)


def _chapters(song: Song, options: Options, end: float) -> list[tuple[float, str]]:
    """Second and title of each: from the start of the sound on, one for all that comes together."""
    starts = [(each.start, one_line(f"{each.mark} {each.name}")) for each in song.analysis.sections]
    starts += [(each.at, wording(each)) for each in told(song, options)]
    found = [(0.0, "Start")]
    # Sections first, where cues come with them.
    for start, title in sorted(starts, key=lambda each: each[0]):
        at, (second, before) = min(start, end), found[-1]
        if at - second < _TOGETHER:
            found[-1] = (second, title if before == "Start" else f"{before}; {title}")
        else:
            found.append((at, title))
    return found
