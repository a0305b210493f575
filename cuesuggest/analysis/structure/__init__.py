"""Sections: where they begin, which repeat, where their material turns, and how sure that is.

Bars are described (`bars`), the signs of a start are read at every bar line (`signs`), and the division that all
evidence together makes most likely is found (`divide`), or, where the user states the form, the most likely one that
has these parts (`stated`). Letters come from comparing whole sections (`letters`), roles are guesses from letters and
loudness (`roles`). All fitted numbers lie in `structure.json`; `training.fit_structure` fits them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from cuesuggest.analysis.form import Part, letter, letter_index
from cuesuggest.analysis.rhythm.evidence import flux
from cuesuggest.analysis.spectrum import Spectrum
from cuesuggest.analysis.structure.bar_vectors import BarVectors, SongBars, bar_vectors
from cuesuggest.analysis.structure.boundary_signs import line_signs
from cuesuggest.analysis.structure.divide import best_edges, boundary_odds, section_worth
from cuesuggest.analysis.structure.letters import Span, clear_repeat, groups, same_odds
from cuesuggest.analysis.structure.roles import ROLES, guess_roles
from cuesuggest.analysis.structure.section_confidence import next_likely, sure_features, sureness
from cuesuggest.analysis.structure.stated_form import StatedForm, length_remarks, longest_part
from cuesuggest.analysis.structure.turns import find_turns
from cuesuggest.analysis.structure.weights import Weights, shipped
from cuesuggest.analysis.types import Section

__all__ = ["Part", "SongBars", "Structure", "find_structure"]


@dataclass(frozen=True, slots=True)
class Structure:
    """Sections in order, without gaps; and what a reader should know of a stated form that does not fit."""

    sections: tuple[Section, ...]
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Division:
    edges: list[int]
    letters: list[int]
    varied: list[bool]
    odds: list[np.ndarray]
    """Of each inner boundary, the probability of every bar line."""
    form: tuple[Part, ...] = ()
    """The parts that the sections are, where they are stated."""
    remarks: tuple[str, ...] = ()


def find_structure(
    spectrum: Spectrum,
    logits: np.ndarray,
    bars: SongBars,
    form: tuple[Part, ...] = (),
    starts: tuple[float, ...] = (),
    weights: Weights | None = None,
) -> Structure:
    """Divide bars into sections and name what repeats.

    Parameters
    ----------
    spectrum : Spectrum
    logits : ndarray, shape (7, frames)
        What the network made of it.
    bars : SongBars
    form : tuple of Part, optional
        What the user states: exactly these parts, in this order, cover the bars.
    starts : tuple of float, optional
        Seconds at which the parts start, one for each, where the user states that too.
    weights : Weights, optional
        Other than those in the package.

    Returns
    -------
    Structure

    Raises
    ------
    FormError
        If the form has more parts than there are bars.
    """
    weights = weights or shipped()
    vectors = bar_vectors(spectrum, bars, flux(spectrum.bands))
    signs = line_signs(spectrum, logits, bars, vectors)
    worth = section_worth(vectors, signs, weights)
    if form:
        found = _as_stated(form, starts, vectors, signs, bars, weights)
    else:
        found = _as_heard(worth, vectors, bars, weights)
    return Structure(_sections(found, worth, bars, weights), found.remarks)


def _as_heard(worth: np.ndarray, vectors: BarVectors, bars: SongBars, weights: Weights) -> _Division:
    edges = best_edges(worth)
    spans = list(pairwise(edges))
    odds = same_odds(vectors, bars.loudness, spans, weights)
    letters = groups(odds)
    varied = [not clear_repeat(odds[k, letters.index(each)]) for k, each in enumerate(letters)]
    varied = [flag and letters.index(each) < k for k, (flag, each) in enumerate(zip(varied, letters, strict=True))]
    likely = boundary_odds(worth)
    return _Division(edges, letters, varied, [likely] * (len(spans) - 1))


def _as_stated(
    form: tuple[Part, ...],
    starts: tuple[float, ...],
    vectors: BarVectors,
    signs: np.ndarray,
    bars: SongBars,
    weights: Weights,
) -> _Division:
    worth = section_worth(vectors, signs, weights, longest_part(form, len(bars)))
    stated = StatedForm(form, worth, vectors, bars.loudness, weights)
    edges = _stated_edges(starts, bars) if starts else stated.edges()
    letters = _letters(form)
    remarks = length_remarks(form, edges, bars.numbers.tolist())
    return _Division(edges, letters, [False] * len(form), stated.odds(edges), form, remarks)


def _letters(form: tuple[Part, ...]) -> list[int]:
    """Which letter each part gets: its own where all are called by letters, else one for each name in turn."""
    own = [letter_index(part.name) for part in form]
    if _in_letters(form):
        return [each for each in own if each is not None]
    order = list(dict.fromkeys(part.material for part in form))
    return [order.index(part.material) for part in form]


def _in_letters(form: tuple[Part, ...]) -> bool:
    return all(letter_index(part.name) is not None for part in form)


def _stated_edges(starts: tuple[float, ...], bars: SongBars) -> list[int]:
    """Return the bars nearest to stated starts; each part keeps one at least, and the first takes what is before it."""
    count = len(bars)
    edges = [0]
    for k, start in enumerate(starts[1:], 1):
        near = int(np.abs(bars.starts - start).argmin())
        edges.append(min(max(near, edges[-1] + 1), count - (len(starts) - k)))
    return [*edges, count]


def _sections(found: _Division, worth: np.ndarray, bars: SongBars, weights: Weights) -> tuple[Section, ...]:
    spans = list(pairwise(found.edges))
    confidence = sureness(sure_features(found.edges, found.odds, bars.confidence), weights, stated=bool(found.form))
    roles = _roles(found, spans, bars)
    passes: dict[int, int] = {}
    sections = []
    for k, (first, end) in enumerate(spans):
        each = found.letters[k]
        passes[each] = passes.get(each, 0) + 1
        other = next_likely(found.edges, k, found.odds[k - 1]) if k else None
        sections.append(
            Section(
                id=f"s{k + 1}",
                start=_rounded(bars.starts[first]),
                end=_rounded(bars.ends[end - 1]),
                first_bar=int(bars.numbers[first]),
                last_bar=int(bars.numbers[end - 1]),
                label=letter(each) + ("'" if found.varied[k] else ""),
                pass_=passes[each],
                role=roles[k],
                name=_own_name(found.form[k].name, letter(each)) if found.form else "",
                first_words=found.form[k].first_words if found.form else "",
                pickup=None,
                confidence=round(float(confidence[k]), 3),
                turns=tuple(_rounded(bars.starts[place]) for place in find_turns(worth, first, end)),
                alternative=None if other is None else _rounded(bars.starts[other]),
            )
        )
    return tuple(sections)


def _own_name(name: str, label: str) -> str:
    """Return the name of a stated part; one that is called by its letter has no other."""
    return "" if name == label else name


def _roles(found: _Division, spans: Sequence[Span], bars: SongBars) -> list[str | None]:
    """Those that the user's names are; guesses where there are no names."""
    if found.form and not _in_letters(found.form):
        return [part.material if part.material in ROLES else None for part in found.form]
    lengths = [end - first for first, end in spans]
    return guess_roles(found.letters, lengths, [float(bars.loudness[first:end].mean()) for first, end in spans])


def _rounded(seconds: float) -> float:
    return round(float(seconds), 4)
