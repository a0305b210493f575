// @ts-check
import { ask, confirm } from "./ask-view.js";
import { barIndex, barStep, lineStep, placeAt, sectionAt, sectionStep } from "./places.js";
import { quickActs } from "./quick.js";

/** @import { Field, Use } from "./ask-view.js" */
/** @import { Choices } from "./chosen.js" */
/** @import { Cue, Section, Status } from "./content.js" */
/** @import { Hand } from "./hand.js" */
/** @import { ListView } from "./list-view.js" */
/** @import { Player } from "./player.js" */
/** @import { questionActs } from "./questions.js" */
/** @import { Store } from "./store.js" */

const KINDS = [
  ["fade-in", "fade in"], ["fade-out", "fade out"], ["crossfade", "crossfade"], ["cut-in", "cut in"], ["cut-out", "cut out"],
  ["one-shot", "one-shot"], ["recall", "set a look in the dark"], ["ramp", "ramp"], ["speed", "speed"], ["call", "line for somebody"],
];
const MOST_COLOURS = 12; // of a look
const TRIGGERS = ["hand", "held", "follow-on", "chase"];
/** Where leaving leads, if not to the chart. @type {Record<string, "music" | "press">} */
const OUTER = { tap: "music", ends: "music", late: "press" };
const NO_BARS = "The song has no bars.";
const NO_BAR_HERE = "There is no bar at this place.";
const NO_SECTIONS = "The song has no sections.";

/**
 * What a command does; some are told of what, such as the answer that was chosen, some go by the moment of the press.
 *
 * @typedef {(of: string, moment: number) => unknown} Doing
 */

/**
 * What each command of the key table does.
 *
 * @param {object} parts
 * @param {Store} parts.store
 * @param {Player} parts.player
 * @param {Hand} parts.hand
 * @param {(said: string, wrong?: boolean) => void} parts.say
 * @param {ListView} parts.list
 * @param {ReturnType<typeof questionActs>} parts.questions
 * @param {HTMLDialogElement} parts.askDialog
 * @param {Choices} parts.choices
 * @returns {Record<string, Doing | undefined>} by the command's id
 */
export function commands({ store, player, hand, say, list, questions, askDialog, choices }) {
  const page = () => store.page;
  const music = () => page().music;
  const place = () => placeAt(music(), player.seconds);

  /**
   * @param {() => number | null} find where to
   * @param {string} otherwise said where there is nothing to go by
   */
  const go = (find, otherwise) => () => {
    const to = find();
    if (to === null) say(otherwise);
    else player.seek(to);
  };

  /**
   * @param {string} title
   * @param {Field[]} fields
   * @param {Use} use
   * @param {{done?: string, about?: string}} [options]
   */
  const asks = (title, fields, use, options = {}) => ask(askDialog, title, fields, use, { ...options, of: store.song });

  /** @param {(cue: Cue) => unknown} work */
  const withCue = (work) => () => {
    const cue = store.cue(hand.now.cue);
    if (cue) work(cue);
    else say("There is no cue at this place. Choose one with ↑ and ↓.");
  };
  /** @param {(section: Section) => unknown} work */
  const withSection = (work) => () => {
    const section = sectionAt(music().sections, player.seconds);
    if (section) work(section);
    else say("There is no section at this place.");
  };

  /** @param {(bar: {start: number, end: number, name: string}) => unknown} work */
  const withBar = (work) => () => {
    const bar = music().bars[barIndex(music().bars, player.seconds)];
    if (bar) work({ start: bar[1], end: bar[2], name: `bar ${bar[0]}` });
    else say(NO_BAR_HERE);
  };

  // Cues.

  /**
   * Changed on the page at once; the server's answer brings the rest.
   *
   * @param {string} id
   * @param {Partial<Cue>} changes
   */
  const shownAs = (id, changes) => (/** @type {Cue[]} */ cues) => {
    const cue = cues.find((each) => each.id === id);
    if (cue) Object.assign(cue, changes);
  };
  /** @param {Status} status */
  const decide = (status) => withCue((cue) => store.act("status", { cues: [cue.id], status }, shownAs(cue.id, { status })));
  /** @param {{beats?: number, bars?: number}} by */
  const move = (by) => withCue((cue) => store.act("move", { cue: cue.id, beats: 0, bars: 0, ...by }));
  /** @param {number} step */
  const level = (step) =>
    withCue((cue) => {
      if (cue.level === null) say(`Cue ${cue.number} sets no level.`);
      else store.act("level", { cue: cue.id, level: Math.min(100, Math.max(0, cue.level + step)) });
    });

  /** @param {number} step */
  const chooseCue = (step) => () => {
    const cues = page().cues;
    if (!cues.length) return;
    let index = cues.findIndex((cue) => cue.id === hand.now.cue);
    if (index < 0) {
      // None is meant yet: the one at this place, or the next one that way.
      index = cues.findLastIndex((cue) => cue.seconds < player.seconds - 0.01);
      if (step < 0) index += 1;
    }
    const next = cues[Math.min(Math.max(index + step, 0), cues.length - 1)];
    if (!player.playing) player.seek(next.seconds);
    else if (hand.now.cue !== next.id) player.seek(next.seconds);
    hand.set({ cue: next.id, question: null });
  };

  const edit = withCue((cue) => {
    /** @type {Field[]} */
    const level = cue.level === null ? [] : [{ name: "level", label: "Level, %", kind: "number", min: 0, max: 100, value: cue.level }];
    /** @type {Field[]} */
    const fields = [
      { name: "kind", label: "Kind", kind: KINDS, value: cue.kind },
      { name: "look", label: "Look", kind: [["", "none"], ...page().looks.map((look) => [look.id, look.name])], value: cue.look ?? "" },
      { name: "side", label: "Side", kind: "text", value: cue.side ?? "" },
      ...level,
      { name: "up_beats", label: "Up, beats", kind: "number", min: 0, max: 256, value: cue.up_beats ?? "" },
      { name: "down_beats", label: "Down, beats", kind: "number", min: 0, max: 256, value: cue.down_beats ?? "" },
      { name: "trigger", label: "Trigger", kind: TRIGGERS.map((each) => [each, each]), value: cue.trigger },
      { name: "anchor", label: "At its place it", kind: [["starts-on", "starts"], ["lands-on", "lands"]], value: cue.anchor },
      { name: "by_itself", label: "Where a machine plays", kind: [["false", "by hand"], ["true", "by itself"]], value: String(cue.by_itself) },
      { name: "who", label: "Who", kind: "text", value: cue.who },
      { name: "note", label: cue.kind === "call" ? "What is called" : "Note", kind: "text", value: cue.note },
    ];
    asks(`Cue ${cue.number}, ${cue.where}`, fields, (values) => {
      /** @type {Record<string, string | number | boolean>} */
      const changed = {};
      for (const { name, kind, value = "" } of fields) {
        const text = values[name];
        const number = kind === "number";
        if (text !== String(value) && !(number && text === "")) changed[name] = number ? Number(text) : text;
      }
      if ("by_itself" in changed) changed.by_itself = values.by_itself === "true";
      return Object.keys(changed).length ? store.act("set", { cue: cue.id, ...changed }) : "";
    });
  });

  /** @param {string} kind */
  const add = (kind) => () => {
    const { bar, beat } = place();
    const at = bar === null ? { seconds: player.seconds } : { bar, beat };
    const call = kind === "call";
    /** @type {Field[]} */
    const fields = call ? [
      { name: "note", label: "What is called", kind: "text" },
      { name: "who", label: "For whom", kind: "text", value: "house light" },
    ] : [
      { name: "kind", label: "Kind", kind: KINDS, value: "one-shot" },
      { name: "look", label: "Look", kind: [["", "none"], ...page().looks.map((look) => [look.id, look.name])] },
      { name: "side", label: "Side", kind: "text" },
      { name: "level", label: "Level, %", kind: "number", min: 0, max: 100 },
      { name: "beats", label: "Length, beats", kind: "number", min: 0, max: 256 },
      { name: "note", label: "Note", kind: "text" },
    ];
    const title = `${call ? "A line for somebody" : "A cue"} at ${bar === null ? "this time" : `bar ${bar}, beat ${beat}`}`;
    asks(title, fields, (values) => {
      const said = Object.entries(values).filter(([, text]) => text !== "");
      const given = Object.fromEntries(said.map(([name, text]) => [name, ["level", "beats"].includes(name) ? Number(text) : text]));
      return store.act("add", { kind, ...given, ...at });
    }, { done: "Add" });
  };

  // Music.

  /**
   * Say something about the music, from the bar that is heard on or everywhere.
   *
   * @param {string} what
   * @param {object} values
   */
  const tell = (what, values) => {
    const { bar } = place();
    if (!hand.now.hereOn) return store.act(what, values);
    if (bar !== null) return store.act(what, { from_bar: bar, ...values });
    say(NO_BAR_HERE);
    return NO_BAR_HERE;
  };
  /**
   * @param {string} what
   * @param {object} values
   */
  const state = (what, values = {}) => () => tell(what, values);
  /** @param {number} bars */
  const boundary = (bars) => withSection((section) => store.act("boundary-move", { section: section.id, bars, all: hand.now.repeats }));
  /**
   * @param {() => string} title
   * @param {() => Field[]} fields
   * @param {{about?: string}} options
   * @param {Use} use
   */
  const typed = (title, fields, options, use) => () => asks(title(), fields(), use, options);
  /**
   * @param {(section: Section) => string} title
   * @param {(section: Section) => Field[]} fields
   * @param {(section: Section, given: Record<string, string>) => Promise<string>} done
   */
  const ofSection = (title, fields, done) =>
    withSection((section) => asks(title(section), fields(section), (given) => done(section, given)));
  /** This section, or all of its letter: chosen where the section is named. @param {Section} section */
  const scope = (section) => {
    const all = music().sections.filter((each) => each.label === section.label).map((each) => `${each.label}${each.pass}`);
    return all.length < 2 ? [] : [{
      name: "all", label: "Which", value: hand.now.repeats ? "yes" : "",
      kind: [["", `this one: ${section.label}${section.pass}`], ["yes", `every ${section.label}: ${all.join(", ")}`]],
    }];
  };

  /**
   * Where the song starts or ends in its recording: a bar on or back, or the place that is heard.
   *
   * @param {"start" | "end"} edge
   * @param {number} bars
   */
  const end = (edge, bars) => () => store.act("end-move", { edge, bars });
  /** @param {"start" | "end"} edge */
  const endHere = (edge) => () => store.act("end-here", { edge, seconds: Math.max(0, player.seconds) });

  // Light of a section.

  /** @param {string} value */
  const category = (value) => withSection((section) => store.act("category", { section: section.id, category: value, all: hand.now.passes }));

  const formNow = () => music().sections.map((each) => `${each.name || each.label} ${each.last - each.first + 1}`).join(", ");

  return {
    play: () => player.toggle(),
    "bar-back": go(() => barStep(music().bars, player.seconds, -1), NO_BARS),
    "bar-on": go(() => barStep(music().bars, player.seconds, 1), NO_BARS),
    "section-back": go(() => sectionStep(music().sections, player.seconds, -1), NO_SECTIONS),
    "section-on": go(() => sectionStep(music().sections, player.seconds, 1), NO_SECTIONS),
    "line-back": go(() => lineStep(page().chart.lines, player.seconds, -1), NO_BARS),
    "line-on": go(() => lineStep(page().chart.lines, player.seconds, 1), NO_BARS),
    "cue-back": chooseCue(-1),
    "cue-on": chooseCue(1),
    start: () => player.seek(music().start),
    "last-section": go(() => music().sections.at(-1)?.start ?? null, NO_SECTIONS),
    "hear-cue": withCue((cue) => {
      const from = barStep(music().bars, cue.seconds - 0.5, -1);
      if (from === null) say(NO_BARS);
      else player.playFrom(from - 0.02);
    }),
    "loop-section": withSection((each) => player.setLoop({ start: each.start, end: each.end, name: `${each.label}${each.pass}` })),
    "loop-bar": withBar((bar) => player.setLoop(bar)),
    "loop-here": withBar((bar) => player.loopHere(bar)),
    slower: () => player.pace(-1),
    faster: () => player.pace(1),
    sound: () => hand.set({ mode: "sound" }),
    "song-softer": () => choices.louder("song", -1),
    "song-louder": () => choices.louder("song", 1),
    "click-softer": () => choices.louder("click", -1),
    "click-louder": () => choices.louder("click", 1),

    ...questions.commands,
    ...quickActs({ store, player, withCue }),

    accept: decide("accepted"),
    reject: decide("rejected"),
    reopen: decide("suggested"),
    "accept-section": withSection((section) => store.act("accept-section", { section: section.id })),
    edit,
    earlier: move({ beats: -1 }),
    later: move({ beats: 1 }),
    "bar-earlier": move({ bars: -1 }),
    "bar-later": move({ bars: 1 }),
    brighter: level(5),
    darker: level(-5),
    trigger: withCue((cue) => store.act("set", { cue: cue.id, trigger: TRIGGERS[(TRIGGERS.indexOf(cue.trigger) + 1) % TRIGGERS.length] })),
    anchor: withCue((cue) => store.act("set", { cue: cue.id, anchor: cue.anchor === "lands-on" ? "starts-on" : "lands-on" })),
    "by-itself": withCue((cue) => store.act("set", { cue: cue.id, by_itself: !cue.by_itself })),
    lock: withCue((cue) => store.act("lock", { cue: cue.id, lock: !cue.lock }, shownAs(cue.id, { lock: !cue.lock }))),
    note: withCue((cue) => {
      /** @type {Field} */
      const field = { name: "note", label: "Note", kind: "text", value: cue.note };
      asks(`Note on cue ${cue.number}`, [field], ({ note }) => store.act("note", { cue: cue.id, note }));
    }),
    copy: withCue((cue) => store.act("copy", { cue: cue.id })),
    colours: withCue((cue) => {
      const look = page().looks.find((each) => each.id === cue.look);
      if (!look) {
        say(`Cue ${cue.number} has no look.`);
        return;
      }
      const before = { colours: String(look.colours), relation: look.colour_relation };
      /** @type {Field[]} */
      const fields = [
        { name: "colours", label: "How many", kind: "number", min: 1, max: MOST_COLOURS, value: before.colours },
        { name: "relation", label: "How they go together", kind: "text", value: before.relation },
      ];
      const about = "Wherever this song has the look.";
      asks(`Colours of ${look.name}`, fields, ({ colours, relation }) => {
        if (colours === before.colours && relation === before.relation) return "";
        // Words that were said of another number of colours are no news.
        const words = relation === before.relation ? {} : { relation };
        return store.act("colours", { look: look.id, colours: Number(colours), ...words });
      }, { about });
    }),
    add: add("one-shot"),
    call: add("call"),
    remove: withCue((cue) => store.act("remove", { cue: cue.id })),

    section: withSection(() => hand.set({ mode: "section" })),
    rest: category("rest"),
    subtle: category("subtle"),
    lift: category("lift"),
    intense: category("intense"),
    passes: () => hand.set({ passes: !hand.now.passes }),
    vamp: ofSection(
      (section) => `${section.label}${section.pass} goes round until …`,
      (section) => [{ name: "until", label: "The sign to go on by", kind: "text", value: section.vamp }],
      (section, given) => store.act("vamp", { section: section.id, until: given.until }),
    ),

    music: () => hand.set({ mode: "music" }),
    "bar-one": () => store.act("bar-one", { seconds: place().beatStart }),
    swap: state("swap"),
    "shift-later": state("shift", { beats: 1 }),
    "shift-earlier": state("shift", { beats: -1 }),
    half: state("half"),
    double: state("double"),
    tempo: typed(() => "Tempo", () => [{ name: "bpm", label: "Beats a minute", kind: "number", min: 20, max: 400, value: music().tempo ?? "" }], {}, (given) => tell("tempo", { bpm: Number(given.bpm) })),
    signature: typed(() => "Time signature", () => [{ name: "value", label: "Such as 6/8", kind: "text", value: music().signature ?? "" }], {}, (given) => tell("signature", { value: given.value })),
    tap: () => {
      hand.set({ mode: "tap", taps: [] });
      if (!player.playing) player.toggle();
    },
    "tap-beat": () => {
      if (player.playing) hand.set({ taps: [...hand.now.taps, Math.round(player.seconds * 1e4) / 1e4] });
      else say("The song is paused, so that tap was not taken. Space plays on.");
    },
    "tap-done": () => {
      const times = hand.now.taps;
      hand.set({ mode: "music", taps: [] });
      store.act("tapped", { times });
    },
    "boundary-earlier": boundary(-1),
    "boundary-later": boundary(1),
    "boundary-add": () => {
      const { bar } = place();
      if (bar === null) say(NO_BAR_HERE);
      else store.act("boundary-add", { bar, all: hand.now.repeats });
    },
    "boundary-remove": withSection((section) => store.act("boundary-remove", { section: section.id, all: hand.now.repeats })),
    name: ofSection(
      (section) => `Name of ${section.label}${section.pass}`,
      (section) => [{ name: "name", label: "Name", kind: "text", value: section.name }, ...scope(section)],
      (section, given) => store.act("name", { section: section.id, name: given.name, all: given.all === "yes" }),
    ),
    words: ofSection(
      (section) => `First words of ${section.label}${section.pass}`,
      (section) => [{ name: "words", label: "It begins with", kind: "text", value: section.words }],
      (section, given) => store.act("first-words", { section: section.id, words: given.words }),
    ),
    form: typed(
      () => "The form, as the band writes it",
      () => [{ name: "text", label: "Parts in order, with bars where you know them", kind: "lines", value: formNow() }],
      { about: "Such as: intro 4, verse 8, chorus 8 x2, bridge 8, outro." },
      (given) => store.act("form", { text: given.text }),
    ),
    ends: () => hand.set({ mode: "ends" }),
    "starts-earlier": end("start", -1),
    "starts-later": end("start", 1),
    "starts-here": endHere("start"),
    "ends-earlier": end("end", -1),
    "ends-later": end("end", 1),
    "ends-here": endHere("end"),
    "here-on": () => hand.set({ hereOn: !hand.now.hereOn }),
    repeats: () => hand.set({ repeats: !hand.now.repeats }),
    forget: () => {
      const { stated } = page();
      if (!stated.length) say("Nothing was stated about this song.");
      else confirm(askDialog, "Forget all that was stated about the music?", stated, { done: "Forget all", key: "f" }, () => store.act("forget"));
    },

    undo: () => store.act("undo"),
    redo: () => store.act("redo"),
    list: () => (list.open ? list.close() : list.show(hand.now.cue)),
    title: () => {
      /** @type {Field} */
      const field = { name: "title", label: "The song is called", kind: "text", value: page().title };
      asks("Title", [field], ({ title }) => store.act("title", { title }));
    },
    leave: () => {
      const { mode, question, passed } = hand.now;
      if (mode) hand.set({ mode: OUTER[mode] ?? "", taps: [] });
      else if (question) hand.set({ question: null, passed: new Set([...passed, question]) });
      else hand.set({ cue: null });
    },
    "take-file": () => store.act("take-file"),
    "keep-shown": () => store.act("keep-shown"),
    "show-now": () => store.load(),
  };
}
