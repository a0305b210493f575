// @ts-check
"use strict";
/** @import { Section, Song } from "./content.js" */

/** Leads through one song by touch. All it knows is in the page; nothing is fetched or sent. */
(() => {
  /** @param {string} id */
  const el = (id) => {
    const found = document.getElementById(id);
    if (found === null) throw new Error(`The page has no ${id}.`);
    return found;
  };

  /**
   * Cues, sections and words of the song, as run_html.py wrote them.
   *
   * @type {Song}
   */
  const song = JSON.parse(el("song").textContent);

  const QUICKEST = 250; // ms; a second touch within it is a slip of the finger
  const TAP_PAUSE = 2500; // ms; after it tapping begins anew
  const TAPS = 8;

  /**
   * What is next, where the band is, and how fast it plays.
   *
   * @typedef {object} State
   * @property {number} next index of the cue that is next
   * @property {number} section index of the section; -1 outside the sections
   * @property {number | null} bpm
   * @property {{beat: number, at: number} | null} known a beat of the song and the time at which it was, if any is known
   * @property {number[]} taps
   * @property {number} touched
   */

  /** @type {State} */
  const state = { next: 0, section: -1, bpm: song.bpm, known: null, taps: [], touched: -Infinity };

  const now = () => performance.now();

  /** The beat of the song that sounds now, as far as tempo and the last touch tell; null if nobody knows. */
  function beatNow() {
    if (state.known === null || !state.bpm) return null;
    return state.known.beat + ((now() - state.known.at) * state.bpm) / 60000;
  }

  /** The next cue was done. */
  function go() {
    if (now() - state.touched < QUICKEST || state.next >= song.cues.length) return;
    state.touched = now();
    const done = song.cues[state.next];
    if (done.beat !== null) state.known = { beat: done.beat, at: now() };
    if (done.section >= 0) state.section = done.section;
    state.next += 1;
    show();
  }

  function back() {
    if (state.next === 0) return;
    state.next -= 1;
    state.known = null;
    const before = song.cues[state.next - 1];
    state.section = before ? before.section : -1;
    show();
  }

  /**
   * The band begins a section: this is its bar 1, and its first cue is next.
   *
   * @param {number} index
   */
  function jump(index) {
    const section = song.sections[index];
    state.section = index;
    state.next = section.first_cue;
    state.known = { beat: section.beat, at: now() };
    show();
  }

  /** One beat of the band, tapped: gives tempo and moves the count to the nearest beat. */
  function tap() {
    const at = now();
    if (state.taps.length && at - state.taps[state.taps.length - 1] > TAP_PAUSE) state.taps = [];
    state.taps = [...state.taps, at].slice(-TAPS);
    const beat = beatNow();
    if (state.taps.length >= 3) {
      const steps = state.taps.slice(1).map((time, k) => time - state.taps[k]).sort((a, b) => a - b);
      state.bpm = 60000 / steps[steps.length >> 1];
    }
    if (beat !== null) state.known = { beat: Math.round(beat), at };
    show();
  }

  /** "3 bars 2" until the next cue, the last bar as a count down; "" if nobody knows. */
  function countdown() {
    const cue = song.cues[state.next];
    const beat = beatNow();
    if (!cue || cue.beat === null || beat === null) return "";
    const left = cue.beat - beat;
    if (left <= 0) return "now";
    const beats = Math.ceil(left);
    if (song.beats_in_bar === null || beats <= song.beats_in_bar) return String(beats);
    const bars = Math.floor(beats / song.beats_in_bar);
    const over = beats % song.beats_in_bar;
    return `${bars} ${bars === 1 ? "bar" : "bars"}${over ? ` ${over}` : ""}`;
  }

  function show() {
    const cue = song.cues[state.next];
    el("where").textContent = cue ? `next: ${cue.number}  ${cue.where}` : "";
    el("what").textContent = cue ? cue.action : song.cues.length ? "the end" : "no cues";
    el("hand").textContent = cue ? [cue.hand, cue.look, cue.standby].filter(Boolean).join(" · ") : "";
    el("go").classList.toggle("other", Boolean(cue) && !cue.mine);
    el("light").textContent = state.section < 0 ? "dark" : song.sections[state.section].light;
    el("part").textContent = state.section < 0 ? "before the song" : song.sections[state.section].title;
    el("coming").replaceChildren(
      ...song.cues.slice(state.next + 1, state.next + 7).map((each) => {
        const item = document.createElement("li");
        item.textContent = `${each.number}  ${each.where}: ${each.action}`;
        item.classList.toggle("other", !each.mine);
        return item;
      }),
    );
    el("back").toggleAttribute("disabled", state.next === 0);
    el("tempo").textContent = state.bpm ? `${Math.round(state.bpm)} a minute` : "";
    [...el("parts").children].forEach((button, index) => {
      button.setAttribute("aria-current", String(index === state.section));
    });
    tick();
  }

  function tick() {
    el("count").textContent = countdown();
  }

  /**
   * @param {string} name
   * @param {string} text
   */
  function safety(name, text) {
    el("safety-name").textContent = name;
    el("safety-text").textContent = text;
    el("safety").hidden = false;
    el("resume").focus();
  }

  /**
   * @param {Section} section
   * @param {number} index
   */
  function partButton(section, index) {
    const button = document.createElement("button");
    const under = document.createElement("small");
    under.textContent = section.safe ? `${section.bars} IN` : String(section.bars);
    button.append(section.label, under);
    button.type = "button";
    button.classList.toggle("safe", section.safe);
    button.addEventListener("click", () => jump(index));
    return button;
  }

  el("parts").replaceChildren(...song.sections.map(partButton));
  el("go").addEventListener("click", go);
  el("back").addEventListener("click", back);
  el("tap").addEventListener("pointerdown", tap);
  el("home").addEventListener("click", () => safety("HOME", song.home));
  el("out").addEventListener("click", () => safety("ALL OUT", song.all_out));
  el("resume").addEventListener("click", () => {
    el("safety").hidden = true;
  });
  document.addEventListener("keydown", (event) => {
    if (event.target instanceof HTMLButtonElement && ["Enter", " "].includes(event.key)) return;
    const does = { ArrowRight: go, " ": go, ArrowLeft: back, t: tap }[event.key];
    if (does && el("safety").hidden) {
      event.preventDefault();
      does();
    }
  });
  setInterval(tick, 100);
  show();
})();
