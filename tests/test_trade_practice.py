"""The trade's habits as a table: each row is held by every draft of the samples, of renders and of small songs.

A row tells where it comes from: a published figure by its source, 'common practice' where the trade does so and nobody
has published a number, 'from memory' where a source exists that was not read.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise
from statistics import mean

import pytest

from cuesuggest.analysis.types import Event, SongAnalysis
from cuesuggest.rules import Draft, Profile, Rig, draft, known_names, load_profile, load_rig
from cuesuggest.rules.person.flashes import most_flashes
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import hand_starts, presses, swapped_after
from cuesuggest.score.records import CATEGORIES
from tests.plans import heard, names, spans
from tests.songs import hands_of_draft, make_analysis, retimed

STYLES = {name: load_profile(name) for name in known_names("profiles")}
RIGS = {name: load_rig(name) for name in known_names("rigs")}

SMALL = {
    "ballad": make_analysis("I4 A16 B8 A16 B8 O4", bpm=66, drive={"I": 0.15, "A": 0.28, "B": 0.5, "O": 0.15}),
    "rock": make_analysis(
        "I8 A8 B8 A8 B8 C8 B8 B8 O8",
        bpm=128,
        count_in=2,
        drive={"I": 0.6, "A": 0.55, "B": 0.8, "B4": 0.95, "C": 0.4, "O": 0.6},
        events=[("drop", 49, 1, 1), ("hit", 32, 1, 1), ("hit", 32, 3, 1), ("hit", 64, 4, 1), ("fill", 16, 3, 2)],
    ),
    "stops": make_analysis(
        "A8 B8 A8 B8 O4",
        bpm=104,
        drive={"A": 0.42, "B": 0.75, "O": 0.05},
        events=[("stop", 12, 3, 2), ("stop", 28, 4, 1), ("stop", 8, 2.1, 2.9), ("hit", 33, 1, 1)],
    ),
    "dance": make_analysis(
        "I16 A16 D16 A8 B16 D16 C8 D16 O16",
        bpm=126,
        drive={"I": 0.5, "A": 0.6, "B": 0.2, "C": 0.35, "D": 0.85, "D3": 0.95, "O": 0.55},
        events=[("build", 69, 1, 16), ("drop", 73, 1, 1), ("drop", 97, 1, 1)],
    ),
    "slowing": make_analysis(
        "A8 B16", bpm=72, drive={"A": 0.4, "B": 0.75}, events=[("ritardando", 22, 1, 12)], ring_out=0
    ),
    "uneven": retimed(
        make_analysis("A8 B16 A8 B16", bpm=96, drive={"A": 0.42, "B": 0.75}, events=[("hit", 20, 1, 1)]),
        tempos={29: 116.0},
        pauses={25: 6.0},
        beats={12: 2},
    ),
}


@dataclass(frozen=True)
class Case:
    """A song, and the draft of it in one style on one rig."""

    analysis: SongAnalysis
    profile: Profile
    rig: Rig
    found: Draft

    @property
    def looks(self):
        return {look.id: look for look in self.found.looks}

    @property
    def entries(self):
        return [cue for cue in self.found.cues if cue.id.startswith("enter/")]

    @property
    def shots(self):
        return [cue for cue in self.found.cues if cue.kind == "one-shot"]

    @property
    def in_song(self):
        """Without what is done before the song."""
        return [cue for cue in self.found.cues if not (cue.kind == "recall" and cue.number == 1)]

    def events(self, *kinds):
        sure = self.profile.evidence.event
        return [event for event in self.analysis.events if event.kind in kinds and event.confidence >= sure]

    def bars_of(self, *categories):
        """Bars of the plan in some categories, where it changes inside a section counted by its parts."""
        return sum(
            end - first
            for section, each in zip(self.analysis.sections, self.found.plan, strict=True)
            for first, end, name in spans(section, each)
            if name in categories
        )

    def share(self, *categories):
        return self.bars_of(*categories) / sum(section.bars for section in self.analysis.sections)


@cache
def cases():
    songs = {**{name: heard(name) for name in names()}, **SMALL}
    return [
        (
            f"{song}, {style}, {rig}",
            Case(songs[song], STYLES[style], RIGS[rig], draft(songs[song], STYLES[style], RIGS[rig])),
        )
        for song in songs
        for style in STYLES
        for rig in RIGS
    ]


# Rows: each gives what is against the practice.


def intense_is_earned(case):
    """Bars of intense far beyond the style's share: a phrase more is taste, and drops have a right to it."""
    budget = case.profile.budget.intense_share * sum(section.bars for section in case.analysis.sections)
    over = case.bars_of("intense") - budget - max(12, budget / 2) - 8 * len(case.events("drop"))
    return [f"{over:.0f} bars too much"] if over > 1e-9 else []


def no_ballad_is_intense(case):
    bars = case.analysis.bars
    drive = {s.id: [b.drive for b in bars if s.first_bar <= b.number <= s.last_bar] for s in case.analysis.sections}
    floor = case.profile.drive.intense_floor
    return [
        each.section
        for each in case.found.plan
        if each.category == "intense" and sum(drive[each.section]) / len(drive[each.section]) < floor - 1e-6
    ]


def few_looks(case):
    """More than one look for each category and a second one for the biggest moment."""
    built = [look.id for look in case.found.looks if not look.home and look.id != "one-shot"]
    return built if len(built) > 4 else []


def one_home_look(case):
    homes = [look for look in case.found.looks if look.home]
    fine = len(homes) == 1 and homes[0].category == "subtle" and homes[0].level_ceiling <= 40
    return [] if fine or not case.found.cues else [look.id for look in homes] or ["none"]


def set_up_in_the_dark(case):
    """An entrance without a recall on its side early enough for the side and the hand."""
    told = []
    need = {side.name: side.settle_seconds + case.rig.reaction_seconds for side in case.rig.sides}
    for entry in case.entries:
        before = [c for c in case.found.cues if c.kind == "recall" and c.side == entry.side and c.number < entry.number]
        last = before[-1] if before else None
        fine = last is not None and last.look == entry.look
        early = fine and (last.number == 1 or last.place.seconds <= hand_starts(entry) - need[entry.side] + 0.01)
        told += [] if early else [entry.id]
    return told


def time_to_get_ready(case):
    """A recall less than four seconds and a bar before its entrance, without a word on it."""
    told = []
    for recall in [cue for cue in case.found.cues if cue.kind == "recall"]:
        entry = next(each for each in case.entries if each.number > recall.number and each.side == recall.side)
        short = hand_starts(entry) - recall.place.seconds < 4.0 - 0.01
        if short and recall.number != 1 and "short notice" not in recall.reasons[0]:
            told.append(recall.id)
    return told


def always_moving(case):
    return [look.id for look in case.found.looks if not look.cycle_seconds]


def motion_goes_with_the_bars(case):
    """A round that is no simple number of bars."""
    fine = (0.125, 0.25, 0.5, 1, 2, 4, 8, 16, 32, 64)
    moving = [look for look in case.found.looks if not look.home and look.id != "one-shot"]
    return [look.id for look in moving if look.cycle_bars not in fine]


def restarted_with_the_band(case):
    big = [cue for cue in case.entries if case.looks[cue.look].category in ("lift", "intense")]
    words = hands_of_draft(case.found, case.analysis, case.rig)
    return [cue.id for cue in big if "motion restarted" not in words.of(cue)]


def one_shots_on_the_measure(case):
    """A press that is neither on a downbeat nor on something that the band accents."""
    downbeats = [bar.start for bar in case.analysis.bars]
    accents = [event.start for event in case.events("drop", "hit")]
    accents += [event.end for event in case.events("stop", "fill")]
    return [
        cue.id
        for cue in case.shots
        for at in presses(cue, Grid(case.analysis))
        if min(abs(at - each) for each in (*downbeats, *accents)) > 0.061
    ]


def one_shots_run_out(case):
    """A press while another runs."""
    run = case.rig.one_shot.run_seconds if case.rig.one_shot else 0.0
    times = sorted(at for cue in case.shots for at in presses(cue, Grid(case.analysis)))
    return [at for at, later in pairwise(times) if later - at < run]


def nothing_where_nobody_plays(case):
    """A one-shot or an entrance in talk or count-in."""
    idle = case.events("talk", "count-in")
    return [
        cue.id
        for cue in (*case.shots, *case.entries)
        if any(event.start <= cue.place.seconds < event.end - 0.1 for event in idle)
    ]


def entrances_lean_early(case):
    """A look later than its downbeat, or more than 20 ms before it."""
    starts = {bar.number: bar.start for bar in case.analysis.bars}
    on_bars = [cue for cue in case.entries if cue.place.bar is not None and cue.place.beat == 1.0]
    return [cue.id for cue in on_bars if not -0.0205 <= cue.place.seconds - starts[cue.place.bar] <= 0.0005]


def outs_wait_for_the_cut_off(case):
    """A cut that is before the band's stop, or more than 40 ms after it."""
    cuts = [cue for cue in case.found.cues if cue.kind == "cut-out"]
    offs = [event.start for event in case.events("stop", "hit")]
    return [cue.id for cue in cuts if not any(-0.0005 <= cue.place.seconds - off <= 0.04 for off in offs)]


def never_dark_before_the_last_hit(case):
    """A look that is let go of before a hit in the last bar of its section."""
    told = []
    for cue in [cue for cue in case.found.cues if cue.id.startswith(("leave/", "ending/")) and cue.kind == "fade-out"]:
        section = next(each for each in case.analysis.sections if each.id == cue.id.split("/")[1])
        if "changed in the dark" in cue.reasons[0]:
            continue
        last = next(bar for bar in case.analysis.bars if bar.number == section.last_bar)
        late = [e.start for e in case.events("hit") if last.start <= e.start <= last.end]
        told += [cue.id for hit in late if cue.place.seconds < hit - 0.0005]
    return told


def endings_are_watched(case):
    """An ending with a ring-out or a slowing down that is counted."""
    free = bool(case.events("ring-out", "ritardando"))
    endings = [cue for cue in case.found.cues if cue.id.startswith("ending/")]
    last = case.analysis.sections[-1].id if case.analysis.sections else ""
    return [
        cue.id
        for cue in endings
        if free and cue.id.split("/")[1] == last and "watched, not counted" not in cue.reasons[0]
    ]


def bumps_and_fades(case):
    """An intense look that fades, a lift that takes longer than eight beats, a subtle one that jumps.

    A lift cuts where the band comes back from a stop, where a drop lands, and where there is no time before a stop.
    """
    told = []
    for cue in case.entries:
        category = case.looks[cue.look].category
        beats = cue.up_beats or 0.0
        cuts = any(word in reason for reason in cue.reasons for word in ("comes back", "the drop lands", "band stops"))
        lift = 0.5 <= beats <= 8 or (beats == 0 and cuts)
        fine = {"intense": beats == 0, "lift": lift, "subtle": beats >= 2}[category]
        told += [] if fine or cue.anchor == "lands-on" else [cue.id]
    return told


def a_landing_fade_starts_one_length_early(case):
    """A fade that lands on a downbeat and does not start as many beats before it as it is told to take."""
    landing = [cue for cue in case.found.cues if cue.anchor == "lands-on" and cue.kind != "one-shot"]
    beats = case.analysis.beats
    return [
        cue.id
        for cue in landing
        if sum(hand_starts(cue) - 0.05 <= beat < cue.place.seconds - 0.05 for beat in beats) != cue.up_beats
    ]


def the_new_look_leads(case):
    """A change of look in which the old one is out before the new one is up."""
    over = [cue for cue in case.entries if cue.down_seconds is not None]
    return [
        cue.id
        for cue in over
        if swapped_after(cue.up_seconds or 0.0, cue.down_seconds or 0.0, case.rig.hands) < (cue.up_seconds or 0.0) / 2
        or not any("no dip" in reason for reason in cue.reasons)
    ]


def one_thing_a_second(case):
    """Two hand actions closer than a second that are not one gesture, as out with one hand and in with the other is."""
    cues = sorted(((hand_starts(c), c) for c in case.in_song if c.kind != "one-shot"), key=lambda each: each[0])
    return [
        at
        for (at, cue), (later, after) in pairwise(cues)
        if 0.02 <= later - at < 1.0 - 0.005
        and not (case.rig.hands > 1 and cue.kind == "cut-out" and after.kind in ("cut-in", "fade-in"))
    ]


def a_fifth_in_hand(case):
    return [cue.id for cue in case.found.cues if (cue.level or 0) > 80]


def lasers_wait_for_a_person(case):
    lasers = {side.name for side in case.rig.sides if side.source == "laser"}
    shot = case.rig.one_shot is not None and case.rig.one_shot.source == "laser"
    return [
        cue.id
        for cue in case.found.cues
        if cue.trigger not in ("hand", "held")
        or (not cue.operator_confirms and (cue.side in lasers or (cue.kind == "one-shot" and shot)))
    ]


def three_flashes_a_second(case):
    onsets = [at for cue in case.shots for at in presses(cue, Grid(case.analysis))]
    onsets += [cue.place.seconds for cue in case.found.cues if cue.kind == "cut-in"]
    worst = most_flashes(sorted(set(onsets)))
    return [worst] if worst > 3 else []


def bigger_is_not_weaker(case):
    """Two passes of a letter with the same drive of which the later has the smaller look, where all fits."""
    told = []
    plan = {each.section: each for each in case.found.plan}
    given_up = ("keeps the look", "takes the look", "comes back with", "stays dark", "left dark")
    sections = case.analysis.sections
    for index, later in enumerate(sections):
        for earlier in sections[:index]:
            a, b = plan[earlier.id], plan[later.id]
            if earlier.label != later.label or b.drive < a.drive:
                continue
            free = not any(word in reason for each in (a, b) for reason in each.reasons for word in given_up)
            if free and CATEGORIES.index(b.category) < CATEGORIES.index(a.category):
                told.append(later.id)
    return told


# Ways to spoil a draft.


def cued(change):
    return lambda case: replace(case, found=replace(case.found, cues=tuple(map(change, case.found.cues))))


def more_cues(change):
    return lambda case: replace(case, found=replace(case.found, cues=(*case.found.cues, *map(change, case.found.cues))))


def looking(**fields):
    return lambda case: replace(
        case, found=replace(case.found, looks=tuple(replace(look, **fields) for look in case.found.looks))
    )


def planned(change):
    return lambda case: replace(
        case, found=replace(case.found, plan=tuple(change(k, each) for k, each in enumerate(case.found.plan)))
    )


def later(cue, seconds):
    return replace(cue, place=replace(cue.place, seconds=cue.place.seconds + seconds))


def more_looks(case):
    many = [replace(look, id=f"{look.id}-{k}") for look in case.found.looks for k in range(5)]
    return replace(case, found=replace(case.found, looks=(*case.found.looks, *many)))


def talked_through(case):
    return replace(case, analysis=replace(case.analysis, events=(Event("talk", 0.0, 1e4, None, None, 1.0),)))


def gone_before_a_hit(case):
    hits = tuple(Event("hit", section.end - 0.1, section.end, None, None, 1.0) for section in case.analysis.sections)
    spoilt = replace(case, analysis=replace(case.analysis, events=hits))
    return cued(lambda cue: later(cue, -20.0) if cue.kind == "fade-out" else cue)(spoilt)


intense_throughout = planned(lambda _, each: replace(each, category="intense"))
weaker_at_last = planned(lambda k, each: replace(each, category="rest" if k else "lift", drive=0.5, reasons=()))

# What the trade does, where that is from, and a spoilt draft that the row finds.
PRACTICE: list[tuple[Callable[[Case], list], str, Callable[[Case], Case]]] = [
    (intense_is_earned, "common practice", intense_throughout),
    (no_ballad_is_intense, "common practice", intense_throughout),
    (bigger_is_not_weaker, "common practice", weaker_at_last),
    (few_looks, "common practice", more_looks),
    (one_home_look, "common practice", looking(home=False)),
    (
        set_up_in_the_dark,
        "common practice",
        cued(lambda cue: later(cue, 1e3) if cue.kind == "recall" and cue.number > 1 else cue),
    ),
    (
        time_to_get_ready,
        "common practice: a stand-by at least 4 s ahead",
        cued(lambda cue: later(cue, 1e3) if cue.kind == "recall" else cue),
    ),
    (
        always_moving,
        "common practice; a still beam of a laser is what its operators are told to avoid",
        looking(cycle_seconds=None),
    ),
    (motion_goes_with_the_bars, "common practice", looking(cycle_bars=3.0)),
    (restarted_with_the_band, "common practice", cued(lambda cue: replace(cue, kind="ramp"))),
    (one_shots_on_the_measure, "common practice", cued(lambda cue: later(cue, 0.3))),
    (one_shots_run_out, "common practice", more_cues(lambda cue: later(cue, 0.1))),
    (nothing_where_nobody_plays, "common practice", talked_through),
    (
        entrances_lean_early,
        "ITU-R BT.1359-1: sound up to 125 ms late is not noticed, but only 45 ms early",
        cued(lambda cue: later(cue, 0.03)),
    ),
    (
        outs_wait_for_the_cut_off,
        "ITU-R BT.1359-1: light up to 45 ms late is not noticed; 40 ms is a frame at 25",
        cued(lambda cue: later(cue, -0.03)),
    ),
    (never_dark_before_the_last_hit, "common practice", gone_before_a_hit),
    (endings_are_watched, "common practice", cued(lambda cue: replace(cue, reasons=("counted",)))),
    (bumps_and_fades, "common practice, figures from memory", cued(lambda cue: replace(cue, up_beats=0.1))),
    (
        a_landing_fade_starts_one_length_early,
        "common practice",
        cued(lambda cue: replace(cue, up_seconds=(cue.up_seconds or 0.0) / 2)),
    ),
    (the_new_look_leads, "common practice", cued(lambda cue: replace(cue, reasons=("a change",)))),
    (
        one_thing_a_second,
        "common practice; choosing and pressing takes 0.3-0.6 s (from memory, Repp 2005)",
        more_cues(lambda cue: later(cue, 0.5)),
    ),
    (a_fifth_in_hand, "common practice", cued(lambda cue: replace(cue, level=85))),
    (
        lasers_wait_for_a_person,
        "common practice; guidance for laser shows asks for an operator in control",
        cued(lambda cue: replace(cue, trigger="follow-on")),
    ),
    (
        three_flashes_a_second,
        "WCAG 2.3.1: not more than three flashes in any one-second period",
        lambda case: more_cues(lambda cue: later(cue, 0.2))(more_cues(lambda cue: later(cue, 0.4))(case)),
    ),
]
NAMES = [row.__name__ for row, _, _ in PRACTICE]


@pytest.mark.parametrize(("row", "source"), [each[:2] for each in PRACTICE], ids=NAMES)
def test_drafts_keep_to_the_practice(row, source):
    assert source.startswith("common practice") or row in (
        entrances_lean_early,
        outs_wait_for_the_cut_off,
        three_flashes_a_second,
    )
    against = {name: told for name, case in cases() if (told := row(case))}
    assert against == {}


@pytest.mark.parametrize(("row", "spoil"), [(row, spoil) for row, _, spoil in PRACTICE], ids=NAMES)
def test_a_draft_against_the_practice_is_found(row, spoil):
    assert any(row(spoil(case)) for _, case in cases())


def test_the_table_is_held_against_enough_songs():
    assert len(cases()) >= 12 * len(STYLES) * len(RIGS)
    kinds = {cue.kind for _, case in cases() for cue in case.found.cues}
    assert kinds >= {
        "recall", "fade-in", "crossfade", "fade-out", "cut-in", "cut-out", "ramp", "one-shot", "speed",
    }  # fmt: skip
    assert any(cue.series for _, case in cases() for cue in case.shots)
    assert any(cue.trigger == "held" for _, case in cases() for cue in case.found.cues)


# What takes several songs to show.


def test_most_of_the_time_there_is_little_light():
    """Common practice: subtle or dark most of the time, intense hardly ever."""

    def big(style):
        return mean(case.share("lift", "intense") for _, case in cases() if case.profile.name == style)

    assert big("gentle") < 0.5
    assert big("gentle") < big("band") < big("club")
    # The three styles allow a fifth of the bars on average.
    assert mean(case.share("intense") for _, case in cases()) < 0.2


def level_of(voice):
    analysis = make_analysis("A8 B8", drive={"A": 0.45, "B": 0.7}, voice={"A": voice, "B": voice})
    return [each.level for each in draft(analysis, STYLES["band"], RIGS["example"]).plan]


def test_the_voice_comes_first():
    """Common practice: effect light stays low under singing."""
    assert all(sung <= played for sung, played in zip(level_of(1.0), level_of(0.0), strict=True))
    assert level_of(1.0) != level_of(0.0)


@pytest.mark.parametrize(
    ("beats", "kill", "kinds"),
    [(3.0, "kill button", ["cut-out", "cut-in"]), (1.0, "kill button", ["cut-out"]), (1.0, "", ["cut-out", "cut-in"])],
)
def test_a_short_stop_is_one_held_button_or_one_gesture(beats, kill, kinds):
    """Common practice: what two actions cannot do is one button, or one gesture of two hands."""
    analysis = make_analysis("B16", drive={"B": 0.7}, events=[("stop", 9, 2.0, beats)])
    cues = draft(analysis, STYLES["band"], replace(RIGS["example"], kill=kill)).cues
    stops = [cue for cue in cues if cue.id.startswith("stop/")]
    assert [cue.kind for cue in stops] == kinds
    assert all((cue.trigger == "held") is (len(kinds) == 1) for cue in stops)


def test_an_ending_that_slows_down_is_faded_by_ear():
    """Common practice: nobody counts in a ritardando."""
    found = draft(SMALL["slowing"], STYLES["band"], RIGS["example"])
    end = found.cues[-1]
    assert (end.kind, end.down_beats) == ("fade-out", None)
    assert hands_of_draft(found, SMALL["slowing"], RIGS["example"]).of(end).endswith("by ear)")
    assert "The band slows down here, so nothing is counted." in end.reasons[0]
    assert end.place.seconds >= SMALL["slowing"].sections[-1].end - 0.001
