"""What part a section may play in the song: a guess, and only where letters and loudness clearly speak for it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

__all__ = ["ROLES", "guess_roles"]

ROLES = ("intro", "verse", "chorus", "bridge", "break", "outro")
"""What a section may be called. Bridges and breaks are never guessed: on songs whose sections are known, most of what
looked like one was a verse or a chorus whose letter was heard wrongly."""
_LOUDER = 2.0  # LU by which choruses stand over verses, at least
_SHORT = 12  # bars; more is no intro or outro


def guess_roles(letters: Sequence[int], bars: Sequence[int], loudness: Sequence[float]) -> list[str | None]:
    """Guess roles of sections.

    Parameters
    ----------
    letters : sequence of int
        Equal for equal material.
    bars : sequence of int
        Lengths.
    loudness : sequence of float
        LUFS, mean of the section.

    Returns
    -------
    list of str or None
        One of `ROLES` each, or None where nothing speaks for one clearly.
    """
    times = Counter(letters)
    repeated = [each for each in dict.fromkeys(letters) if times[each] > 1]
    roles: list[str | None] = [None] * len(letters)
    if not repeated:
        return roles
    short = [times[each] == 1 and length <= _SHORT for each, length in zip(letters, bars, strict=True)]
    if short[0]:
        roles[0] = "intro"
    if short[-1]:
        roles[-1] = "outro"
    level = {each: sum(v for v, k in zip(loudness, letters, strict=True) if k == each) / times[each] for each in times}
    chorus, *others = sorted(repeated, key=lambda each: -level[each])
    if not others or level[chorus] - level[others[0]] < _LOUDER:
        return roles
    first = letters.index(chorus)
    # An intro that comes back also stands before the chorus: of two, the verse is what more of the song is made of.
    share = {each: sum(n for n, k in zip(bars, letters, strict=True) if k == each) for each in repeated}
    verse = max(
        (each for each in dict.fromkeys(letters[:first]) if each in repeated), key=share.__getitem__, default=None
    )
    for k, each in enumerate(letters):
        if each == chorus:
            roles[k] = "chorus"
        elif each == verse:
            roles[k] = "verse"
    return roles
