"""House style and rig: what the rules read, from TOML files that a designer can edit.

Every field tells its unit, its range and why it is there in the metadata beside it. Files are checked, printed and
documented from the same metadata, so there is one place for each limit.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

from cuesuggest.score.records import CATEGORIES, Category, Source

__all__ = ["ByCategory", "CycleRanges", "LocalRules", "OneShot", "Profile", "Rig", "Side", "Speed", "number", "words"]


def _number(unit: str, low: float, high: float, why: str, **otherwise: Any) -> dict[str, Any]:
    """Describe a number, or a table or list of numbers, with its unit and allowed range.

    A key with `otherwise` may be left out of a file and has that value then.
    """
    return {"unit": unit, "low": low, "high": high, "why": why, **otherwise}


def _lamps_alone(made: Mapping[str, Any]) -> bool:
    """Whether a part of a rig may play by itself where its file does not say: lamps may, lasers and strobes not."""
    return made["source"] == "lamp"


_BY_ITSELF = "true if a machine may play it by itself; what flashes or can hurt waits for a person, a laser always"


def _words(why: str, *choices: str, **otherwise: Any) -> dict[str, Any]:
    """Describe a text or a yes or no; with `choices`, only those are allowed.

    A key with `otherwise` may be left out of a file and has that value then, or what it makes of the keys before it.
    """
    return {"choices": choices, "why": why, **otherwise}


number, words = _number, _words  # for settings that are in files of their own

# Bars.
_SLOW_RIDE, _LONG_PHRASE = 8, 16

# Seconds. A press so little before its peak is one gesture with what else the hands do on the beat.
_ONE_GESTURE = 0.3


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

    subtle: tuple[float, float]
    lift: tuple[float, float]
    intense: tuple[float, float]

    def of(self, category: Category) -> tuple[float, float]:
        """Return (shortest, longest) of a lit category."""
        pair: tuple[float, float] = getattr(self, category)
        return pair


@dataclass(frozen=True, slots=True)
class Budget:
    """How much of a song may be lit, and how much of it intense."""

    intense_share: float = field(
        metadata=_number("share of the bars", 0, 1, "what is always there is not intense; more has a price")
    )
    intense_from: float = field(
        metadata=_number(
            "share of the bars", 0, 1, "how far in a song may be before it is intense, unless a build leads there"
        )
    )
    lit_share: float = field(
        metadata=_number("share of the bars", 0, 1, "dark stretches give the lit ones their effect; more has a price")
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
    build_lean: float = field(
        metadata=_number("drive", 0, 0.5, "added up to a lift where a build leads in: it promises something")
    )

    @property
    def best_at(self) -> tuple[float, ...]:
        """The drive that fits each category best, `rest` first."""
        return self.rest, self.subtle, self.lift, self.intense

    def least(self, category: Category) -> float:
        """Return the drive from which on a category fits better than the one below it."""
        index = CATEGORIES.index(category)
        return (self.best_at[index - 1] + self.best_at[index]) / 2


@dataclass(frozen=True, slots=True)
class PlanWeights:
    """What the plan pays, against 1 for a section of eight bars that is one category off its drive."""

    contrast: float = field(metadata=_number("cost", 0, 10, "neighbours of clearly different drive in one category"))
    change: float = field(metadata=_number("cost per step", 0, 10, "neighbours of equal drive in different categories"))
    short: float = field(metadata=_number("cost", 0, 10, "a change for a section shorter than its category's stay"))
    finale: float = field(metadata=_number("cost", 0, 10, "gained when the last big section gets the biggest look"))
    over_intense: float = field(
        metadata=_number(
            "cost",
            0,
            10,
            "a tenth of the song intense beyond the budget; a fifth costs four times as much",
            otherwise=1.0,
        )
    )
    over_lit: float = field(
        metadata=_number("cost", 0, 10, "a tenth of the song lit beyond the budget; likewise", otherwise=0.15)
    )


@dataclass(frozen=True, slots=True)
class Fades:
    """Lengths of fades. Common practice, not a standard."""

    subtle_up_bars: int = field(metadata=_number("bars", 1, 4, "a subtle look settles and is not seen to arrive"))
    lift_up_beats: float = field(metadata=_number("beats", 1, 8, "a lift comes in with the band"))
    out_beats: ByCategory = field(
        metadata=_number("beats", 1, 16, "how the old look leaves when this category comes in")
    )
    early_out_bars: ByCategory = field(
        metadata=_number("bars", 1, 4, "how early this category leaves before a quiet part")
    )
    after_hit_beats: float = field(metadata=_number("beats", 0.5, 8, "the fade after a last hit"))
    ramp_beats: float = field(metadata=_number("beats", 1, 16, "a change of level inside one look"))
    ramp_from: int = field(metadata=_number("percent", 1, 50, "a smaller change of level is not worth a cue"))
    step: int = field(
        metadata=_number("percent", 5, 50, "a change that everybody is to see, from verse to chorus", otherwise=15)
    )
    ride_bars: int = field(
        metadata=_number("bars", 1, 16, "a change of level inside a section, at the longest", otherwise=4)
    )
    phrase_bars: int = field(
        metadata=_number("bars", 4, 64, "how long a look stays as it is before it moves a little", otherwise=16)
    )
    build_rise: int = field(metadata=_number("percent", 5, 50, "how far the level climbs over a build"))
    ending_beats: float = field(metadata=_number("beats", 0.5, 32, "the last fade when no ring-out was measured"))

    @property
    def slow(self) -> bool:
        """Whether a change of level takes so long that it is ridden to before the section that it is for."""
        return self.ride_bars >= _SLOW_RIDE

    @property
    def short_phrases(self) -> bool:
        """Whether phrases are told that others let pass."""
        return self.phrase_bars < _LONG_PHRASE


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
    speed_within: ByCategory = field(
        metadata=_number("share of the tempo", 0.02, 1, "a motion further off the band's tempo is set anew")
    )


@dataclass(frozen=True, slots=True)
class Shots:
    """One-shots: how many, how far apart."""

    spacing_seconds: float = field(metadata=_number("seconds", 1, 120, "one-shots close together stop being special"))
    most_per_song: int = field(metadata=_number("one-shots", 0, 100, "beyond this nobody notices the next one"))
    series_from_bars: int = field(metadata=_number("bars", 4, 64, "an intense section this long can carry a series"))
    series_every: tuple[int, ...] = field(
        metadata=_number("bars", 1, 16, "the distances that a series may have, first choice first")
    )
    series_most: int = field(metadata=_number("one-shots", 0, 32, "the longest series; below 2 there is none"))


@dataclass(frozen=True, slots=True)
class Sureness:
    """When the analysis is too unsure to lean on."""

    weak: float = field(metadata=_number("confidence", 0, 1, "bars or sections below it get fewer cues and a question"))
    event: float = field(metadata=_number("confidence", 0, 1, "an event below it moves no light"))
    sure: float = field(
        metadata=_number("confidence", 0, 1, "below it, what would spoil the song if it were wrong is asked about")
    )
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

    def slowness(self, rig: Rig) -> float:
        """Return how many times as long the person at a rig needs as a practised one."""
        return self.volunteer_factor if rig.practised == "volunteer" else 1.0


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

    name: str = field(metadata=_words("what the style is called; a file without it has the file's name"))
    about: str = field(metadata=_words("what it is for, in a line", otherwise=""))
    budget: Budget
    drive: Drive
    weights: PlanWeights
    min_stay_bars: ByCategory = field(
        metadata=_number("bars", 1, 32, "a look that goes at once was not worth the hand")
    )
    fades: Fades
    looks: Looks
    shots: Shots
    evidence: Sureness
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
    still_beam: bool = field(metadata=_words("true only where a beam that does not move is allowed", otherwise=False))
    by_itself: bool = field(default=False, metadata=_words(_BY_ITSELF, otherwise=_lamps_alone))


@dataclass(frozen=True, slots=True)
class OneShot:
    """The button that fires once, runs its length and is dark again."""

    name: str = field(metadata=_words("what is written on the button"))
    source: Source = field(metadata=_words("what makes the light", "laser", "lamp", "strobe"))
    run_seconds: float = field(metadata=_number("seconds", 0.05, 30, "from the press until it is dark again"))
    peak_after: float = field(metadata=_number("seconds", 0, 10, "from the press to its strongest moment"))
    by_itself: bool = field(default=False, metadata=_words(_BY_ITSELF, otherwise=_lamps_alone))

    @property
    def own_gesture(self) -> float:
        """Seconds before the beat at which a hand is needed of its own; 0 where pressing is one gesture with it."""
        return self.peak_after if self.peak_after > _ONE_GESTURE else 0.0


@dataclass(frozen=True, slots=True)
class Speed:
    """How the speed of the motion is set while the song is played."""

    unit: Literal["bpm", "tap", "watch", "none"] = field(
        metadata=_words(
            "beats a minute, taps on the beat, seconds for one round by a watch (a fader without marks), or not at all",
            "bpm",
            "tap",
            "watch",
            "none",
        )
    )
    name: str = field(metadata=_words("what is written on the button, wheel or fader", otherwise=""))


@dataclass(frozen=True, slots=True)
class LocalRules:
    """What the authority of the place asks for, in the user's words."""

    separation: str = field(
        default="",
        metadata=_words("heights and distances of beams, as your authority states them, with its name", otherwise=""),
    )
    flashes_per_second: float = field(
        default=3.0,
        metadata=_number(
            "flashes a second",
            1,
            5,
            "the most flashes of all sides together; more than 3 only by a rule",
            otherwise=3.0,
        ),
    )
    source: str = field(default="", metadata=_words("which rule sets the flashes", otherwise=""))


@dataclass(frozen=True, slots=True)
class Rig:
    """What there is to play on, and who plays it."""

    name: str = field(metadata=_words("what the rig is called; a file without it has the file's name"))
    about: str = field(metadata=_words("what it is, in a line", otherwise=""))
    hands: int = field(metadata=_number("hands", 1, 4, "how many things can be done at one moment"))
    practised: str = field(metadata=_words("who plays", "operator", "volunteer"))
    reaction_seconds: float = field(metadata=_number("seconds", 0, 2, "from deciding to the fader moving"))
    haze: bool = field(metadata=_words("true if there is haze in the air; beams do not show without it"))
    cameras: bool = field(metadata=_words("true if cameras look at the stage"))
    kill: str = field(
        metadata=_words("the button that holds everything dark while pressed; empty if there is none", otherwise="")
    )
    master: str = field(metadata=_words("the fader over all sides; empty if there is none", otherwise=""))
    sides: tuple[Side, ...] = field(metadata=_words("what looks are played on, at least one, each with its own name"))
    one_shot: OneShot | None = field(metadata=_words("the button for one-shots, if there is one", otherwise=None))
    speed: Speed = field(
        metadata=_words("how the speed of the motion is set; not at all without it", otherwise={"unit": "none"})
    )
    local: LocalRules = field(metadata=_words("what holds at your place, if you know it", otherwise={}))
    buttons: int = field(
        default=0,
        metadata=_number("buttons", 0, 500, "how many looks lie within reach in a night; 0 if any number", otherwise=0),
    )

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


def _plain(value: Any) -> Any:
    """Turn tuples into lists all the way down."""
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    return value
