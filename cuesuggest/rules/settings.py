"""House style and rig: what the rules read, from TOML files that a designer can edit.

Every field tells its unit, its range and why it is there in the metadata beside it; the loader checks files
against the same metadata, so there is one place for each limit.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import asdict, dataclass, field, fields, is_dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any, Literal, TypeVar, get_args, get_origin, get_type_hints

from cuesuggest.cues import Category
from cuesuggest.errors import ProfileError

__all__ = ["ByCategory", "OneShot", "Profile", "Rig", "Side", "known_names", "load_profile", "load_rig"]

Source = Literal["laser", "lamp", "strobe"]

_MISSING: Any = object()


def _number(unit: str, low: float, high: float, why: str) -> dict[str, Any]:
    """Describe a number, or a table or list of numbers, with its unit and allowed range."""
    return {"unit": unit, "low": low, "high": high, "why": why}


def _words(why: str, *choices: str) -> dict[str, Any]:
    """Describe a text or a yes or no; with `choices`, only those are allowed."""
    return {"choices": choices, "why": why}


@dataclass(frozen=True, slots=True)
class ByCategory:
    """One number for each category of look that gives light."""

    subtle: float
    lift: float
    intense: float

    def of(self, category: Category) -> float:
        """Return the number of a category; `rest` has none and gives 0."""
        return 0.0 if category == "rest" else float(getattr(self, category))


@dataclass(frozen=True, slots=True)
class CycleRanges:
    """The shortest and longest round of motion for each category, in seconds."""

    subtle: tuple[float, ...]
    lift: tuple[float, ...]
    intense: tuple[float, ...]

    def of(self, category: Category) -> tuple[float, float]:
        """Return (shortest, longest) of a lit category."""
        low, high = getattr(self, category)
        return low, high


@dataclass(frozen=True, slots=True)
class Budget:
    """How much of a song may be lit, and how much of it intense."""

    intense_share: float = field(metadata=_number("share of the bars", 0, 1, "what is always there is not intense"))
    lit_share: float = field(
        metadata=_number("share of the bars", 0, 1, "dark stretches give the lit ones their effect")
    )
    lit_from_bars: int = field(metadata=_number("bars", 1, 1000, "in a shorter piece the lit share means nothing"))


@dataclass(frozen=True, slots=True)
class Drive:
    """How drive, 0..1 on an absolute scale, becomes a category."""

    rest: float = field(metadata=_number("drive", 0, 1, "a section that pushes this little wants no effect light"))
    subtle: float = field(metadata=_number("drive", 0, 1, "the drive that fits a subtle look best"))
    lift: float = field(metadata=_number("drive", 0, 1, "the drive that fits a lift best"))
    intense: float = field(metadata=_number("drive", 0, 1, "the drive that fits an intense look best"))
    step: float = field(metadata=_number("drive", 0.01, 1, "one category's worth of drive"))
    intense_floor: float = field(
        metadata=_number("drive", 0, 1, "below it nothing is intense, so a ballad stays a ballad")
    )
    same_within: float = field(metadata=_number("drive", 0, 0.5, "two passes this close are equally driven"))
    contrast_from: float = field(metadata=_number("drive", 0, 1, "neighbours this far apart should look different"))
    edge_lean: float = field(metadata=_number("drive", 0, 0.5, "taken off intro and outro, which lean lower"))
    voice_lean: float = field(metadata=_number("drive", 0, 0.5, "taken off where a voice leads all the time"))


@dataclass(frozen=True, slots=True)
class Weights:
    """What the plan pays, against 1 for a section of eight bars that is one category off its drive."""

    contrast: float = field(metadata=_number("cost", 0, 10, "neighbours of clearly different drive in one category"))
    change: float = field(metadata=_number("cost per step", 0, 10, "neighbours of equal drive in different categories"))
    short: float = field(metadata=_number("cost", 0, 10, "a change for a section shorter than its category's stay"))
    finale: float = field(metadata=_number("cost", 0, 10, "gained when the last big section gets the biggest look"))


@dataclass(frozen=True, slots=True)
class Fades:
    """Lengths of fades. Common practice, not a standard."""

    subtle_up_bars: int = field(metadata=_number("bars", 1, 4, "a subtle look settles and is not seen to arrive"))
    lift_up_beats: float = field(metadata=_number("beats", 1, 2, "a lift comes in with the band"))
    out_beats: ByCategory = field(
        metadata=_number("beats", 1, 16, "how the old look leaves when this category comes in")
    )
    early_out_bars: ByCategory = field(
        metadata=_number("bars", 1, 4, "how early this category leaves before a quiet part")
    )
    after_hit_beats: float = field(metadata=_number("beats", 0.5, 8, "the fade after a last hit"))
    ramp_beats: float = field(metadata=_number("beats", 1, 16, "a change of level inside one look"))
    ramp_from: int = field(metadata=_number("percent", 1, 50, "a smaller change of level is not worth a cue"))
    build_rise: int = field(metadata=_number("percent", 5, 50, "how far the level climbs over a build"))
    ending_beats: float = field(metadata=_number("beats", 0.5, 32, "the last fade when no ring-out was measured"))


@dataclass(frozen=True, slots=True)
class Looks:
    """What the looks are like."""

    cycle_seconds: CycleRanges = field(
        metadata=_number("seconds", 0.5, 120, "shortest and longest round of the motion")
    )
    colours: ByCategory = field(metadata=_number("colours", 1, 4, "few colours read better than many"))
    base_level: ByCategory = field(
        metadata=_number("percent", 5, 80, "the lowest level that the category is planned at")
    )
    ceiling: ByCategory = field(metadata=_number("percent", 5, 80, "a fifth of the level stays in hand"))
    home_level: int = field(metadata=_number("percent", 5, 60, "the home look runs at half level"))


@dataclass(frozen=True, slots=True)
class Shots:
    """One-shots: how many, how far apart."""

    spacing_seconds: float = field(metadata=_number("seconds", 1, 120, "one-shots close together stop being special"))
    most_per_song: int = field(metadata=_number("one-shots", 0, 100, "beyond this nobody notices the next one"))
    series_from_bars: int = field(metadata=_number("bars", 4, 64, "an intense section this long can carry a series"))
    series_every: tuple[int, ...] = field(
        metadata=_number("bars", 1, 16, "the distances that a series may have, first choice first")
    )
    series_most: int = field(metadata=_number("one-shots", 2, 32, "the longest series"))


@dataclass(frozen=True, slots=True)
class Evidence:
    """When the analysis is too unsure to lean on."""

    weak: float = field(metadata=_number("confidence", 0, 1, "bars or sections below it get fewer cues and a question"))
    event: float = field(metadata=_number("confidence", 0, 1, "an event below it moves no light"))
    tempo_margin: float = field(metadata=_number("nats", 0, 10, "half or double tempo this close is asked about"))
    most_questions: int = field(metadata=_number("questions", 0, 20, "a list longer than this is not answered"))


@dataclass(frozen=True, slots=True)
class Hands:
    """What one practised person can do; a volunteer gets `volunteer_factor` times as long."""

    peak_gap_seconds: float = field(metadata=_number("seconds", 0.3, 10, "two actions closer than this are a scramble"))
    burst: int = field(metadata=_number("actions", 1, 20, "so many may follow each other at the peak gap"))
    sustained_seconds: float = field(metadata=_number("seconds per action", 1, 60, "the pace that can be kept up"))
    volunteer_factor: float = field(
        metadata=_number("factor", 1, 5, "somebody who plays this once a week needs longer")
    )
    held_from_seconds: float = field(
        metadata=_number("seconds", 0.1, 5, "a shorter stop is over before the hand is down")
    )


@dataclass(frozen=True, slots=True)
class Standby:
    """Getting ready."""

    lead_seconds: float = field(metadata=_number("seconds", 4, 60, "time to find the fader, and to be told"))
    lead_bars: int = field(metadata=_number("bars", 1, 16, "time to count in"))
    recall_bars: int = field(
        metadata=_number("bars", 1, 32, "how long before its entrance a look is recalled, if possible")
    )
    phrase_bars: int = field(metadata=_number("bars", 1, 32, "cues closer than a phrase share one stand-by"))


@dataclass(frozen=True, slots=True)
class Profile:
    """A house style: every number that the rules use."""

    name: str = field(metadata=_words("what the style is called"))
    budget: Budget
    drive: Drive
    weights: Weights
    min_stay_bars: ByCategory = field(
        metadata=_number("bars", 1, 32, "a look that goes at once was not worth the hand")
    )
    fades: Fades
    looks: Looks
    shots: Shots
    evidence: Evidence
    hands: Hands
    standby: Standby

    def values(self) -> dict[str, Any]:
        """Every value as plain dictionaries, lists, texts and numbers, for the document."""
        plain: dict[str, Any] = _plain(asdict(self))
        return plain


@dataclass(frozen=True, slots=True)
class Side:
    """A fader or playback that holds one look."""

    name: str = field(metadata=_words("what is written on the fader"))
    source: Source = field(metadata=_words("what makes the light", "laser", "lamp", "strobe"))
    jumps: bool = field(metadata=_words("true if colour and shape jump, so that a change on a lit side is seen"))
    settle_seconds: float = field(metadata=_number("seconds", 0, 30, "how long a move takes in the dark"))
    still_beam: bool = field(metadata=_words("true only where a beam that does not move is allowed"))


@dataclass(frozen=True, slots=True)
class OneShot:
    """The button that fires once, runs its length and is dark again."""

    name: str = field(metadata=_words("what is written on the button"))
    source: Source = field(metadata=_words("what makes the light", "laser", "lamp", "strobe"))
    run_seconds: float = field(metadata=_number("seconds", 0.05, 30, "from the press until it is dark again"))
    peak_after: float = field(metadata=_number("seconds", 0, 10, "from the press to its strongest moment"))


@dataclass(frozen=True, slots=True)
class Rig:
    """What there is to play on, and who plays it."""

    name: str = field(metadata=_words("what the rig is called"))
    hands: int = field(metadata=_number("hands", 1, 4, "how many things can be done at one moment"))
    practised: str = field(metadata=_words("who plays", "operator", "volunteer"))
    reaction_seconds: float = field(metadata=_number("seconds", 0, 2, "from deciding to the fader moving"))
    haze: bool = field(metadata=_words("true if there is haze in the air; beams do not show without it"))
    cameras: bool = field(metadata=_words("true if cameras look at the stage"))
    kill: str = field(metadata=_words("the button that holds everything dark while pressed; empty if there is none"))
    sides: tuple[Side, ...]
    one_shot: OneShot | None

    def values(self) -> dict[str, Any]:
        """Every value as plain dictionaries, lists, texts and numbers, for the document."""
        plain: dict[str, Any] = _plain(asdict(self))
        return plain

    @property
    def playing(self) -> tuple[Side, ...]:
        """The sides that looks alternate between: those of the commonest source, the first on a tie."""
        sources = [side.source for side in self.sides]
        most = max(sources, key=sources.count)
        return tuple(side for side in self.sides if side.source == most)


def known_names(folder: str) -> tuple[str, ...]:
    """Names of the files shipped in `profiles` or `rigs`."""
    shipped = files("cuesuggest.rules").joinpath(folder).iterdir()
    return tuple(sorted(item.name.removesuffix(".toml") for item in shipped if item.name.endswith(".toml")))


def load_profile(name_or_path: str | Path) -> Profile:
    """Read a house style, shipped (by name) or from a TOML file.

    Raises
    ------
    ProfileError
        If there is no such style or file, or a key or value in it is wrong.
    """
    where, text = _source(name_or_path, "profiles", "house style")
    profile = _record(Profile, _parse(where, text), _Where(where, text))
    for category in ("subtle", "lift", "intense"):
        spot = _Where(where, text, ("looks", "cycle_seconds"))
        low, high = _pair(getattr(profile.looks.cycle_seconds, category), spot, category)
        if high < 2 * low:
            # Cycles double from one to the next, so a narrower range could hold none at some tempo.
            spot.fail(category, f"is [{low:g}, {high:g}]; the second must be at least twice the first")
        base, top = profile.looks.base_level.of(category), profile.looks.ceiling.of(category)
        if base > top:
            spot = _Where(where, text, ("looks", "base_level"))
            spot.fail(category, f"is {base:g}, above its ceiling of {top:g}")
    return profile


def load_rig(name_or_path: str | Path | None) -> Rig:
    """Read a rig, shipped (by name) or from a TOML file; None gives the example rig.

    Raises
    ------
    ProfileError
        If there is no such rig or file, or a key or value in it is wrong.
    """
    where, text = _source("example" if name_or_path is None else name_or_path, "rigs", "rig")
    rig = _record(Rig, _parse(where, text), _Where(where, text))
    names = [side.name for side in rig.sides]
    if not names:
        _Where(where, text).fail("sides", "is empty; a rig needs at least one side")
    if len(set(names)) < len(names):
        _Where(where, text).fail("sides", "has one name twice; give every side its own")
    return rig


T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class _Where:
    """A place in a settings file, to name in an error."""

    file: str
    text: str
    tables: tuple[str, ...] = ()

    def inside(self, key: str) -> _Where:
        return _Where(self.file, self.text, (*self.tables, key))

    def fail(self, key: str, problem: str) -> Any:
        line = self._line(key)
        at = self.file if line is None else f"{self.file}, line {line}"
        raise ProfileError(f"{at}: {'.'.join((*self.tables, key))} {problem}.")

    def _line(self, key: str) -> int | None:
        """Find the line of a key by looking for it below its table's header."""
        header, count = "", 0
        tables = [table for table in self.tables if not table.isdigit()]
        wanted = ".".join(tables)
        number = next((int(table) for table in self.tables if table.isdigit()), None)
        for index, line in enumerate(self.text.splitlines(), 1):
            if match := re.match(r"\s*\[\[?\s*([\w.-]+)\s*\]", line):
                header = match[1]
                count += header == wanted
                if header == ".".join([*tables, key]):
                    return index
            elif header == wanted and (number is None or count == number):
                if re.match(rf"\s*[\"']?{re.escape(key)}[\"']?\s*=", line):
                    return index
            elif tables and header == ".".join(tables[:-1]) and re.match(rf"\s*{re.escape(tables[-1])}\s*=", line):
                return index
        return None


def _source(name_or_path: str | Path, folder: str, kind: str) -> tuple[str, str]:
    """Find a shipped name or a file; return how to call it in an error, and its text."""
    known = known_names(folder)
    name = str(name_or_path)
    if isinstance(name_or_path, str) and name in known:
        return f"{name}.toml", files("cuesuggest.rules").joinpath(folder, f"{name}.toml").read_text("utf-8")
    path = Path(name_or_path)
    if not path.is_file():
        raise ProfileError(
            f"There is no {kind} or file called '{name}'. Known names: {', '.join(known)}; "
            "or give the path of a TOML file."
        )
    try:
        return str(path), path.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise ProfileError(f"{path}: cannot be read ({error}). It should be a TOML file in UTF-8.") from error


def _parse(where: str, text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ProfileError(f"{where}: not valid TOML: {error}.") from error


def _record(kind: type[T], table: Any, where: _Where, limits: Any = None) -> T:
    """Build a record from a TOML table; every key must be there and known."""
    if not isinstance(table, dict):
        return _outside(where).fail(where.tables[-1], f"is {table!r}; it should be a table")
    hints = get_type_hints(kind)
    names = [item.name for item in fields(kind)]  # type: ignore[arg-type]
    for key in table:
        if key not in names:
            where.fail(key, f"is not a known key; known here: {', '.join(names)}")
    made = {
        item.name: _value(
            hints[item.name], table.get(item.name, _MISSING), item.metadata or limits or {}, where, item.name
        )
        for item in fields(kind)  # type: ignore[arg-type]
    }
    return kind(**made)


def _outside(where: _Where) -> _Where:
    """Step out of the innermost table."""
    return _Where(where.file, where.text, where.tables[:-1])


def _value(kind: Any, value: Any, limits: Any, where: _Where, key: str) -> Any:
    """Check one value against its type and limits."""
    if type(None) in get_args(kind):
        if value is _MISSING:
            return None
        kind = next(arg for arg in get_args(kind) if arg is not type(None))
    if value is _MISSING:
        where.fail(key, f"is missing; it should be {_allowed(kind, limits)}")
    if is_dataclass(kind) and isinstance(kind, type):
        return _record(kind, value, where.inside(key), limits)
    if get_origin(kind) is tuple:
        item = get_args(kind)[0]
        if not isinstance(value, list) or not value:
            where.fail(key, f"is {value!r}; it should be a list of {_allowed(item, limits)}")
        if is_dataclass(item) and isinstance(item, type):
            spots = (where.inside(key).inside(str(number)) for number in range(1, len(value) + 1))
            return tuple(_record(item, each, spot) for each, spot in zip(value, spots, strict=True))
        return tuple(_value(item, each, limits, where, key) for each in value)
    if get_origin(kind) is Literal:
        kind = str
    right = isinstance(value, int | float if kind is float else kind)
    if not right or (isinstance(value, bool) and kind is not bool):
        where.fail(key, f"is {value!r}; it should be {_allowed(kind, limits)}")
    if "low" in limits and not limits["low"] <= value <= limits["high"]:
        where.fail(key, f"is {value!r}; it should be {_allowed(kind, limits)}")
    if limits.get("choices") and value not in limits["choices"]:
        where.fail(key, f"is {value!r}; it should be {_allowed(kind, limits)}")
    return float(value) if kind is float else value


def _allowed(kind: Any, limits: Any) -> str:
    """Say what a value may be."""
    if limits.get("choices"):
        return "one of " + ", ".join(limits["choices"])
    if "low" in limits:
        what = "a whole number" if kind is int else "a number"
        return f"{what} from {limits['low']:g} to {limits['high']:g} ({limits['unit']})"
    return {str: "a text in quotes", bool: "true or false"}.get(kind, "a table")


def _pair(values: tuple[float, ...], where: _Where, key: str) -> tuple[float, float]:
    if len(values) != 2:
        where.fail(key, f"has {len(values)} numbers; it should be [shortest, longest] in seconds")
    return values[0], values[1]


def _plain(value: Any) -> Any:
    """Turn tuples into lists all the way down."""
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    return value
