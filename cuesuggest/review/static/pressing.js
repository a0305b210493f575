// @ts-check
import { fetchLate, fetchPressed, Refused } from "./api.js";
import { confirm } from "./ask-view.js";
import { sectionAt } from "./places.js";
import { CATEGORIES, lateWords, Pass, SoundClock } from "./presses.js";

/** @import { Choices } from "./chosen.js" */
/** @import { PressedSection, Proposal } from "./content.js" */
/** @import { Hand } from "./hand.js" */
/** @import { Player } from "./player.js" */
/** @import { Kind } from "./presses.js" */
/** @import { Store } from "./store.js" */

const STALE = 2000; // ms; an event so old tells its time by another clock

/**
 * Pressing along: the pass through the song, the click that measures how late somebody is, and what is made of it.
 * Event: "change".
 */
export class Pressing extends EventTarget {
  #store;
  #player;
  #hand;
  #choices;
  #say;
  #askDialog;
  #clock = new SoundClock();
  #clickClock = new SoundClock();
  /** @type {HTMLAudioElement | null} */
  #clicks = null;
  #finished = false;
  /** Whether the newest proposal that was asked for has come. @type {Promise<boolean>} */
  #asking = Promise.resolve(false);
  /** @type {Set<string>} ids of sections that stay as drafted */
  #left = new Set();
  #song = "";
  /** By its id, what was pressed in another song. @type {Map<string, {pass: Pass, left: Set<string>, finished: boolean}>} */
  #others = new Map();

  pass = new Pass();
  /** What was pressed, beside the draft. @type {Proposal | null} */
  proposal = null;
  /** Seconds of the click. @type {number[]} */
  taps = [];

  /**
   * @param {object} parts
   * @param {Store} parts.store
   * @param {Player} parts.player
   * @param {Hand} parts.hand
   * @param {Choices} parts.choices
   * @param {(said: string, wrong?: boolean) => void} parts.say
   * @param {HTMLDialogElement} parts.askDialog
   */
  constructor({ store, player, hand, choices, say, askDialog }) {
    super();
    this.#store = store;
    this.#player = player;
    this.#hand = hand;
    this.#choices = choices;
    this.#say = say;
    this.#askDialog = askDialog;
  }

  /** Follow what else is done on the page. */
  start() {
    this.#song = this.#store.song;
    this.#hand.addEventListener("change", () => this.#mode !== "late" && this.#silence());
    this.#player.addEventListener("change", () => {
      if (this.#mode !== "press" || this.#player.playing) return;
      const { sound, music } = this.#store.page;
      if (sound && this.#player.seconds > music.start + sound.seconds - 0.1) this.#done();
    });
    this.#store.addEventListener("other", () => this.#turn());
    this.#store.addEventListener("song", () => this.#mode === "pressed" && this.#ask());
  }

  /** Called on every picture: the clocks are read, so that a press between two pictures has its time. */
  picture() {
    const { playing, seconds, rate } = this.#player;
    if (this.#mode === "press" && playing) this.pass.heard(seconds, this.#clock.read(performance.now(), seconds, rate));
    if (this.#mode === "late" && this.#clicks) this.#clickClock.read(performance.now(), this.#clicks.currentTime, 1);
  }

  /** The section that is heard, as it was pressed; null where nothing was. @returns {PressedSection | null} */
  get here() {
    const section = sectionAt(this.#store.page.music.sections, this.#player.seconds);
    return this.proposal?.sections.find((each) => each.id === section?.id) ?? null;
  }

  /** Sections in which something can still be taken over. */
  get open() {
    return this.proposal?.sections.filter((each) => each.news && !this.#left.has(each.id)) ?? [];
  }

  get commands() {
    /** @type {Record<string, (of: string, moment: number) => unknown>} */
    const press = Object.fromEntries(
      [...CATEGORIES, /** @type {const} */ ("hit"), /** @type {const} */ ("note")].map((kind) => [`press-${kind}`, (_, moment) => this.#press(kind, moment)]),
    );
    return {
      ...press,
      "press-along": () => this.#begin(),
      "press-back": () => {
        if (this.pass.back()) this.#changed();
        else this.#say("Nothing was pressed yet.");
      },
      "press-late": () => this.#measure(),
      "press-done": () => this.#done(),
      "late-tap": (/** @type {string} */ _, /** @type {number} */ moment) => this.#tap(moment),
      "late-done": () => this.#measured(),
      "pressed-take": () => this.#take(),
      "pressed-leave": () => this.#leave(),
      "pressed-all": () => this.#takeAll(),
      "pressed-on": () => this.#go(1),
      "pressed-back": () => this.#go(-1),
      "pressed-at": (/** @type {string} */ id) => this.#goTo(this.proposal?.sections.find((each) => each.id === id)),
      "pressed-more": () => this.#begin(),
      "pressed-drop": () => this.#drop(),
    };
  }

  get #mode() {
    return this.#hand.now.mode;
  }

  #changed() {
    this.dispatchEvent(new Event("change"));
  }

  /** Another song: what was pressed in each waits there. */
  #turn() {
    const { pass } = this;
    this.#others.set(this.#song, { pass, left: this.#left, finished: this.#finished });
    this.#song = this.#store.song;
    this.#asking = Promise.resolve(false);
    this.#forget();
    const there = this.#others.get(this.#song);
    if (there) {
      this.pass = there.pass;
      this.#left = there.left;
      this.#finished = there.finished;
    }
    this.#clock = new SoundClock();
    this.#changed();
  }

  #forget() {
    this.pass = new Pass();
    this.proposal = null;
    this.#left = new Set();
    this.#finished = false;
    this.#changed();
  }

  #drop() {
    const { length } = this.pass.presses;
    if (!length) return;
    const lines = [`${length} press${length === 1 ? "" : "es"}, which cannot be brought back.`];
    confirm(this.#askDialog, "Drop what you pressed?", lines, { done: "Drop it", key: "d" }, () => {
      this.#forget();
      this.#hand.set({ mode: "" });
      this.#say("What you pressed is dropped.", false);
    });
  }

  // The pass.

  #begin() {
    if (!this.#store.page.sound) {
      this.#say("There is no sound to press along with.");
      return;
    }
    if (this.#finished) this.#forget();
    if (this.#choices.now.late === null && !this.pass.presses.length) {
      this.#measure();
      return;
    }
    this.#hand.set({ mode: "press" });
    if (!this.#player.playing) this.#player.toggle();
  }

  /**
   * @param {Kind} kind
   * @param {number} moment
   */
  #press(kind, moment) {
    const { playing, seconds, rate } = this.#player;
    const now = performance.now();
    if (!playing) {
      this.#say("The song is paused, so that press was not taken. Space plays on.");
      return;
    }
    this.pass.heard(seconds, this.#clock.read(now, seconds, rate));
    // Somebody is late by the same time however slow the song plays.
    this.pass.press(this.#clock.at(since(moment, now) - (this.#choices.now.late ?? 0)), kind);
    this.#changed();
  }

  async #done() {
    if (this.#player.playing) this.#player.toggle();
    if (!this.pass.presses.length) {
      this.#hand.set({ mode: "" });
      this.#say("Nothing was pressed; everything is as drafted.", false);
      return;
    }
    if (!(await this.#ask()) || !this.proposal) return;
    this.#hand.set({ mode: "pressed" });
    this.#goTo(this.open[0]);
    this.#say(`${this.proposal.words}.`, false);
  }

  // How late somebody is.

  #measure() {
    const { sound } = this.#store.page;
    if (!sound) return;
    if (this.#player.playing) this.#player.toggle();
    this.taps = [];
    this.#clickClock = new SoundClock();
    this.#clicks ??= new Audio();
    this.#clicks.src = `${sound.address}&clicks=1`;
    this.#clicks.onended = () => this.#measured();
    this.#hand.set({ mode: "late" });
    this.#changed();
    this.#clicks.play().catch((error) => {
      if (error.name !== "AbortError") this.#say("The browser does not let the click play. Press L once more.");
    });
  }

  /** @param {number} moment */
  #tap(moment) {
    if (this.#clicks?.ended) return;
    if (this.#mode !== "late" || !this.#clicks || this.#clicks.paused) {
      this.#measure();
      return;
    }
    const now = performance.now();
    this.#clickClock.read(now, this.#clicks.currentTime, 1);
    this.taps = [...this.taps, Math.round(this.#clickClock.at(since(moment, now)) * 1e4) / 1e4];
    this.#changed();
  }

  async #measured() {
    const { taps } = this;
    this.#silence();
    try {
      const { late } = await fetchLate(taps);
      if (this.#mode !== "late") return;
      this.#choices.set({ late });
      this.#hand.set({ mode: "press" });
      this.#say(lateWords(late), false);
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      this.#say(error.message);
    }
    this.#changed();
  }

  #silence() {
    if (!this.#clicks) return;
    this.#clicks.onended = null;
    this.#clicks.pause();
  }

  // What is made of it.

  /** Ask for the proposal, as after every change of the song. */
  #ask() {
    const asking = this.#fetch(() => asking === this.#asking);
    this.#asking = asking;
    return asking;
  }

  /** @param {() => boolean} wanted whether nothing newer was asked for, also not in another song */
  async #fetch(wanted) {
    try {
      const found = await fetchPressed(this.#store.song, this.pass.runs);
      if (!wanted()) return false;
      this.proposal = found;
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      if (wanted()) this.#say(error.message);
      return false;
    }
    this.#changed();
    return true;
  }

  async #take() {
    const { here } = this;
    if (!here?.news) {
      this.#say("Nothing was pressed here that the draft does not have. Go to a section that differs with ↓.");
      return;
    }
    this.#left.delete(here.id);
    if (await this.#store.act("take-pressed", { runs: this.pass.runs, section: here.id })) return;
    // The song as it is now has asked already.
    if (this.#mode === "pressed" && (await this.#asking)) this.#decided();
  }

  #leave() {
    const { here } = this;
    if (!here?.news) return;
    this.#left.add(here.id);
    this.#say(`${here.mark} stays as drafted.`, false);
    this.#decided();
  }

  async #takeAll() {
    const { song } = this.#store;
    if (await this.#store.act("take-pressed", { runs: this.pass.runs, left: [...this.#left] })) return;
    if (song === this.#store.song) this.#finish();
  }

  /** Go on to the next section that differs; after the last there is nothing left to decide. */
  #decided() {
    const next = this.open.find((each) => each.start > this.#player.seconds) ?? this.open[0];
    if (next) {
      if (!this.#player.playing) this.#goTo(next);
      this.#changed();
    } else if (this.proposal?.loose) this.#say("Some of what you pressed lies outside the sections: Shift Enter takes it over.", false);
    else this.#finish();
  }

  /** Kept until the next pass begins. */
  #finish() {
    this.#finished = true;
    this.#hand.set({ mode: "" });
    this.#changed();
  }

  /** @param {1 | -1} way */
  #go(way) {
    const { seconds } = this.#player;
    const after = this.open.find((each) => each.start > seconds + 0.01) ?? this.open[0];
    const before = this.open.findLast((each) => each.start < seconds - 0.01) ?? this.open.at(-1);
    this.#goTo(way > 0 ? after : before);
  }

  /** @param {PressedSection | undefined} section */
  #goTo(section) {
    if (section) this.#player.seek(section.start);
  }
}

/**
 * When something was pressed, by this window's clock.
 *
 * @param {number} moment as the event tells it
 * @param {number} now
 */
const since = (moment, now) => (Math.abs(now - moment) < STALE ? moment : now);
