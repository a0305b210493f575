// @ts-check
/**
 * A run-through for practice: what the hand has to do and when, and how each press was. Pure.
 *
 * Times are seconds of the recording; `rate` is how many of them pass in a second. What counts as early, late or
 * missed are figures of this page, chosen and not measured: a tenth of a second for what happens at once, half a beat
 * for a fade's begin, a bar for what is set in the dark.
 */

import { barIndex, lastAt } from "./places.js";

/** @import { Cue, Music, Page } from "./content.js" */

/**
 * @typedef {object} Act something that the hand does at a moment
 * @property {string} cue id
 * @property {number} number of the cue
 * @property {number} at
 * @property {"fader" | "one-shot" | "dark" | "let-go"} control
 * @property {string | null} side null where it is about all of the light
 * @property {"at once" | "fade" | "set"} how
 * @property {string} hand what it does, in a sentence
 * @property {string} action the same in a few words
 * @property {string} where
 */

/** @typedef {{control: "any" | "fader" | "one-shot" | "dark", side?: string}} Pressed */

/** @typedef {"good" | "early" | "late" | "missed" | "wrong"} Mark */

/** @typedef {{act: Act, mark: Mark, by: number | null, pressed: string}} Attempt `by`: seconds too late, as they passed for the hand */

const AT_ONCE = 0.1; // s
const FADE = 0.5; // beats
const REACH = { "at once": 1, fade: 2 }; // beats within which a press is meant for an act
const LEAST_REACH = 0.4; // s
const FADES = new Set(["fade-in", "fade-out", "crossfade", "ramp"]);
const SET = new Set(["recall", "speed"]);
const TOO_CLOSE = 1; // s
const BOTH_HANDS = 0.3; // s within which two faders are one act, where it is about all of the light
const SITS = 3; // good ones in a row
const NO_BEATS = { beat: 0.5, bar: 2 }; // s, where the song has none

/**
 * What an operator has to do, in the order of the hand; what is set before the song comes apart.
 *
 * @param {Page} page
 * @returns {{before: Cue[], acts: Act[]}}
 */
export function actsOf({ cues, music }) {
  const own = cues.filter((cue) => cue.status !== "rejected" && cue.who === "operator" && cue.kind !== "call" && cue.trigger !== "follow-on");
  const start = music.bars[0]?.[1] ?? music.start;
  const before = own.filter((cue) => SET.has(cue.kind) && cue.seconds <= start);
  const acts = own.filter((cue) => !before.includes(cue)).flatMap(actsOfCue);
  return { before, acts: acts.sort((a, b) => a.at - b.at || a.number - b.number) };
}

/** @param {Cue} cue @returns {Act[]} */
function actsOfCue(cue) {
  const { id, number, kind, side, hand, action, where, presses, let_go } = cue;
  const control = kind === "one-shot" ? "one-shot" : let_go === null ? "fader" : "dark";
  const how = SET.has(kind) ? "set" : FADES.has(kind) ? "fade" : "at once";
  const made = presses.map((at) => /** @type {Act} */ ({ cue: id, number, at, control, side, how, hand, action, where }));
  if (let_go !== null) made.push({ cue: id, number, at: let_go, control: "let-go", side, how: "at once", hand: "Let go", action: "let go", where });
  return made;
}

/**
 * Keys for the faders of sides: the first letter of each, else another of its letters, else any.
 *
 * @param {string[]} sides
 * @param {string} taken letters that mean something else
 * @returns {Map<string, string>} side by key
 */
export function sideKeys(sides, taken) {
  const keys = new Map();
  const free = (/** @type {string} */ key) => /[\p{L}\p{N}]/u.test(key) && !taken.includes(key) && !keys.has(key);
  for (const side of sides) {
    const key = [...side.toLowerCase(), ..."abcdefghijklmnopqrstuvwxyz0123456789"].find(free);
    if (key) keys.set(key, side);
  }
  return keys;
}

/** Length of the beat and of the bar at a time. @param {Music} music @param {number} at */
function lengths({ beats, bars }, at) {
  const beat = Math.min(Math.max(lastAt(beats, at + 0.005), 0), beats.length - 2);
  const bar = bars[Math.max(barIndex(bars, at), 0)];
  return {
    beat: beats.length > 1 ? beats[beat + 1] - beats[beat] : NO_BEATS.beat,
    bar: bar ? bar[2] - bar[1] : NO_BEATS.bar,
  };
}

/** Holds what is still to be done, and how each press was. */
export class Judge {
  #music;
  #acts;
  /** @type {Act[]} in their order */
  #open;
  /** @type {{act: Act, at: number} | null} */
  #last = null;
  /** @type {Attempt[]} */
  attempts = [];
  /** Presses with nothing near that they could have been meant for. */
  strays = 0;

  /**
   * @param {Music} music
   * @param {Act[]} acts
   */
  constructor(music, acts) {
    this.#music = music;
    this.#acts = this.#open = acts;
  }

  /** What is still to be done, from here on. */
  get ahead() {
    return this.#open;
  }

  /**
   * How far beside its moment a press is still good, and up to where it is meant for the act at all.
   *
   * @param {Act} act
   * @param {number} rate
   */
  #limits(act, rate) {
    const { beat, bar } = lengths(this.#music, act.at);
    if (act.how === "set") return { good: bar, reach: bar };
    return { good: act.how === "fade" ? FADE * beat : AT_ONCE * rate, reach: Math.max(REACH[act.how] * beat, LEAST_REACH * rate) };
  }

  /**
   * Take a press: for the nearest act that it fits, else as the wrong control for the nearest one.
   *
   * @param {Pressed} pressed
   * @param {number} at
   * @param {number} rate
   * @returns {Attempt | null} null where nothing was due
   */
  press(pressed, at, rate) {
    const beside = (/** @type {Act} */ act) => Math.abs(at - act.at);
    const near = this.#open
      .filter((act) => act.control !== "let-go" && beside(act) <= this.#limits(act, rate).reach)
      .sort((a, b) => beside(a) - beside(b));
    const meant = near.find((act) => fits(pressed, act));
    if (meant) return this.#judged(meant, at, rate, nameOf(pressed));
    const last = this.#last;
    if (last && last.act.side === null && fits(pressed, last.act) && Math.abs(at - last.at) < BOTH_HANDS * rate) return this.attempts.at(-1) ?? null;
    const due = near.find((act) => act.how !== "set");
    if (due) return this.#took({ act: due, mark: "wrong", by: (at - due.at) / rate, pressed: nameOf(pressed) });
    this.strays += 1;
    return null;
  }

  /**
   * Take that the button of a held dark is let go.
   *
   * @param {string} cue
   * @param {number} at
   * @param {number} rate
   */
  letGo(cue, at, rate) {
    const act = this.#open.find((each) => each.cue === cue && each.control === "let-go");
    return act ? this.#judged(act, at, rate, nameOf({ control: "dark" })) : null;
  }

  /**
   * @param {Act} act
   * @param {number} at
   * @param {number} rate
   * @param {string} pressed
   */
  #judged(act, at, rate, pressed) {
    const beside = at - act.at;
    const mark = Math.abs(beside) <= this.#limits(act, rate).good + 1e-9 ? "good" : beside < 0 ? "early" : "late";
    this.#open = this.#open.filter((each) => each !== act);
    this.#last = { act, at };
    return this.#took({ act, mark, by: beside / rate, pressed });
  }

  /** @param {Attempt} attempt */
  #took(attempt) {
    this.attempts.push(attempt);
    return attempt;
  }

  /**
   * Mark as missed what can no longer be meant.
   *
   * @param {number} now
   * @param {number} rate
   * @returns {Attempt[]}
   */
  passed(now, rate) {
    return this.#missed((act) => now > act.at && now > act.at + this.#limits(act, rate).reach);
  }

  /** Mark as missed whatever was due before a moment, as where a loop ends. @param {number} end @returns {Attempt[]} */
  close(end) {
    return this.#missed((act) => act.at < end);
  }

  /** @param {(act: Act) => boolean} over */
  #missed(over) {
    const missed = this.#open.filter(over);
    if (!missed.length) return [];
    // Who did not press has nothing to let go.
    const dark = missed.filter((act) => act.control === "dark").map((act) => act.cue);
    this.#open = this.#open.filter((act) => !missed.includes(act) && !(act.control === "let-go" && dark.includes(act.cue)));
    return missed
      .filter((act) => act.control !== "let-go" || !dark.includes(act.cue))
      .map((act) => this.#took({ act, mark: "missed", by: null, pressed: "" }));
  }

  /** Go on from another place: what is before it is not missed, what comes after it is to be done again. @param {number} to */
  jump(to) {
    const from = to - 0.05;
    const held = this.#acts.filter((act) => act.control === "dark" && act.at >= from).map((act) => act.cue);
    this.#open = this.#acts.filter((act) => act.at >= from && (act.control !== "let-go" || held.includes(act.cue)));
    this.#last = null;
  }
}

/**
 * @param {Pressed} pressed
 * @param {Act} act
 */
function fits({ control, side }, act) {
  if (control === "any") return true;
  return control === act.control && (control !== "fader" || act.side === null || act.side === side);
}

/** @param {Pressed} pressed */
function nameOf({ control, side }) {
  if (control === "fader") return `side ${side}`;
  return { any: "press", "one-shot": "the one-shot", dark: "the held dark" }[control];
}

/** What an act is done with. @param {Act} act */
export function controlOf(act) {
  if (act.control === "fader") return act.side === null ? "all of the light" : `side ${act.side}`;
  return act.control === "one-shot" ? "the one-shot" : "the held dark";
}

/** "140 ms late", "1.2 s early". @param {number} by */
export function besideWords(by) {
  const ms = Math.round(Math.abs(by) * 1000);
  const length = ms < 1000 ? `${ms} ms` : `${(ms / 1000).toFixed(1)} s`;
  return ms === 0 ? "on it" : `${length} ${by < 0 ? "early" : "late"}`;
}

/** How a press was, in words. @param {Attempt | null} attempt */
export function saidOf(attempt) {
  if (!attempt) return "Nothing was due there";
  const { act, mark, by, pressed } = attempt;
  const cue = `Cue ${act.number}${act.control === "let-go" ? ", letting go" : ""}`;
  if (mark === "missed") return `${cue}: missed`;
  if (mark === "wrong") return `${cue}: wrong, that was ${pressed}; it is ${controlOf(act)}`;
  return mark === "good" ? `${cue}: good${act.how === "set" ? "" : `, ${besideWords(by ?? 0)}`}` : `${cue}: ${besideWords(by ?? 0)}`;
}

/**
 * @typedef {object} Row how a cue went
 * @property {Act} act its first
 * @property {Record<Mark, number>} times
 * @property {string[]} wrong what was pressed instead
 * @property {number | null} mean seconds too late
 * @property {boolean} practise whether it does not sit yet
 */

/**
 * How each cue went that was tried, in the order of the hand.
 *
 * @param {Attempt[]} attempts
 * @returns {Row[]}
 */
export function rowsOf(attempts) {
  return [...Map.groupBy(attempts, (each) => each.act.cue).values()]
    .map((tries) => {
      const times = timesOf(tries);
      const by = tries.flatMap((each) => (each.by === null || each.mark === "wrong" || each.act.how === "set" ? [] : [each.by]));
      const act = tries.map((each) => each.act).reduce((a, b) => (b.at < a.at ? b : a));
      return {
        act,
        times,
        wrong: [...new Set(tries.filter((each) => each.mark === "wrong").map((each) => each.pressed))],
        mean: by.length ? by.reduce((sum, each) => sum + each, 0) / by.length : null,
        practise: times.good < tries.length && !sits(tries),
      };
    })
    .sort((a, b) => a.act.at - b.act.at);
}

/** Whether the last tries were good, as many as it takes. @param {Attempt[]} tries */
const sits = (tries) => tries.length >= SITS && tries.slice(-SITS).every((each) => each.mark === "good");

/** How often which mark was given. @param {Attempt[]} attempts */
export function timesOf(attempts) {
  const times = { good: 0, early: 0, late: 0, missed: 0, wrong: 0 };
  for (const { mark } of attempts) times[mark] += 1;
  return times;
}

/** "3 good, 1 missed, 1 on the wrong control". @param {Record<Mark, number>} times */
export function timesWords(times) {
  const said = Object.entries(times).filter(([, count]) => count);
  return said.map(([mark, count]) => `${count} ${mark === "wrong" ? "on the wrong control" : mark}`).join(", ");
}

/**
 * Acts of different cues that come so close together that a hand hardly does both.
 *
 * @param {Act[]} acts
 * @returns {{first: Act, second: Act, apart: number}[]}
 */
export function closeTogether(acts) {
  return acts.slice(1).flatMap((second, index) => {
    const first = acts[index];
    const apart = second.at - first.at;
    return apart < TOO_CLOSE - 1e-9 && first.cue !== second.cue ? [{ first, second, apart }] : [];
  });
}

/**
 * From the bar before a cue to the bar after it.
 *
 * @param {Music} music
 * @param {Act} act
 * @param {Act[]} acts
 */
export function around({ bars, start, end }, act, acts) {
  const last = acts.findLast((each) => each.cue === act.cue && each.control === "let-go") ?? act;
  const [first, after] = [barIndex(bars, act.at) - 1, barIndex(bars, last.at) + 1];
  return {
    start: bars.length ? (bars[Math.max(first, 0)]?.[1] ?? start) : Math.max(act.at - NO_BEATS.bar, start),
    end: bars.length ? bars[Math.min(after, bars.length - 1)][2] : Math.min(last.at + NO_BEATS.bar, end),
  };
}

/** A loop around a cue: how many rounds in a row were good. */
export class Round {
  #judge;
  #from;
  row = 0;

  /**
   * @param {Judge} judge
   * @param {Act} act
   * @param {{start: number, end: number}} stretch
   */
  constructor(judge, act, { start, end }) {
    this.#judge = judge;
    this.#from = judge.attempts.length;
    this.act = act;
    this.start = start;
    this.end = end;
  }

  /** Count the round that has just ended. @returns {boolean} whether it sits now */
  turned() {
    this.#judge.close(this.end);
    const tries = this.#judge.attempts.slice(this.#from).filter((each) => each.act.cue === this.act.cue);
    this.#from = this.#judge.attempts.length;
    this.row = tries.length && tries.every((each) => each.mark === "good") ? this.row + 1 : 0;
    return this.row >= SITS;
  }
}
