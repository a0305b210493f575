// @ts-check
"use strict";
/** @import { Night, Section, Song } from "./content.js" */

/** Leads through songs by touch. All it knows is in the page; nothing is fetched or sent. */
(() => {
  /** @param {string} id */
  const el = (id) => {
    const found = document.getElementById(id);
    if (found === null) throw new Error(`The page has no ${id}.`);
    return found;
  };

  /**
   * Cues, sections and words of every song, as run_html.py wrote them.
   *
   * @type {Night}
   */
  const night = JSON.parse(el("night").textContent);

  const QUICKEST = 250; // ms; a second touch within it is a slip of the finger
  const TAP_PAUSE = 2500; // ms; after it tapping begins anew
  const TAPS = 8;
  const SMALLEST = 22; // px; of what is read from the desk
  const LARGEST = 240;
  const DIMMED = "cuesuggest.brightness";
  /** @type {[string, number][]} */
  const BRIGHTNESS = [["full", 1], ["half", 0.7], ["low", 0.5]];

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

  /** @type {Song} */
  let song = night.songs[0];
  /** @type {State} */
  let state = begun();

  const now = () => performance.now();

  /** @returns {State} */
  function begun() {
    return { next: 0, section: -1, bpm: song.bpm, known: null, taps: [], touched: -Infinity };
  }

  /**
   * Another song, from its start.
   *
   * @param {number} index
   */
  function open(index) {
    song = night.songs[index];
    state = begun();
    state.touched = now();
    el("title").textContent = song.title;
    el("paper").textContent = song.paper.join(" ");
    el("parts").replaceChildren(...song.sections.map(partButton));
    /** @type {HTMLSelectElement} */ (el("songs")).value = String(index);
    show();
    follow();
  }

  /** The song after this one, if there is one. */
  function following() {
    return night.songs[night.songs.indexOf(song) + 1];
  }

  /** The beat of the song that sounds now, as far as tempo and the last touch tell; null if nobody knows. */
  function beatNow() {
    if (state.known === null || !state.bpm) return null;
    return state.known.beat + ((now() - state.known.at) * state.bpm) / 60000;
  }

  /** The next cue was done; after the last one the next song begins. */
  function go() {
    if (now() - state.touched < QUICKEST) return;
    const done = song.cues[state.next];
    if (!done) {
      if (following()) open(night.songs.indexOf(song) + 1);
      return;
    }
    state.touched = now();
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

  /**
   * @param {number} count
   * @param {string} noun
   */
  const counted = (count, noun) => `${count} ${noun}${count === 1 ? "" : "s"}`;

  /** "in 3 bars and 2 beats" until the next cue, the last bar in beats; "" if nobody knows. */
  function countdown() {
    const cue = song.cues[state.next];
    const beat = beatNow();
    if (!cue || cue.beat === null || beat === null) return "";
    const left = cue.beat - beat;
    if (left <= 0) return "now";
    const beats = Math.ceil(left);
    if (song.beats_in_bar === null || beats <= song.beats_in_bar) return `in ${counted(beats, "beat")}`;
    const over = beats % song.beats_in_bar;
    const bars = counted(Math.floor(beats / song.beats_in_bar), "bar");
    return `in ${bars}${over ? ` and ${counted(over, "beat")}` : ""}`;
  }

  /** What a touch on the large field does, in words. */
  function touchWords() {
    const cue = song.cues[state.next];
    if (!cue) {
      const after = following();
      return after ? `Touch here for the next song: ${after.title}.` : "";
    }
    const done = cue.mine ? "Touch here as you do it" : "Somebody else does it: touch here as it happens";
    const after = song.cues[state.next + 1];
    return after ? `${done}; ${after.number || after.where} is next.` : `${done}; it is the last of the song.`;
  }

  function show() {
    const cue = song.cues[state.next];
    el("where").textContent = cue ? `next: ${cue.number}  ${cue.where}` : "";
    el("what").textContent = cue ? cue.action : song.nothing || (song.cues.length ? "the end" : "no cues");
    el("hand").textContent = cue ? [cue.hand, cue.look, cue.standby].filter(Boolean).join(" · ") : "";
    el("touch").textContent = touchWords();
    el("go").classList.toggle("other", Boolean(cue) && !cue.mine);
    el("side").classList.toggle("nothing", song.nothing !== "");
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
    showPart();
    tick();
    fill(el("what"), el("what").textContent);
  }

  /** The part that is played, in the strip and beside the field. */
  function showPart() {
    const section = song.sections[state.section];
    el("light").textContent = section ? section.light : "dark";
    el("part").textContent = section ? section.title : "before the song";
    [...el("parts").children].forEach((button, index) => {
      button.setAttribute("aria-current", String(index === state.section));
    });
  }

  /** Keep the part that is played in sight. */
  function follow() {
    const strip = el("parts");
    const current = strip.children[Math.max(state.section, 0)];
    if (!(current instanceof HTMLElement)) return;
    strip.scrollLeft = current.offsetLeft - (strip.clientWidth - current.offsetWidth) / 2;
  }

  let followed = -1;

  function tick() {
    const beat = beatNow();
    // By the count the band is in the next part; one that goes round is left only by a touch.
    while (beat !== null && !song.sections[state.section]?.round) {
      const next = song.sections[state.section + 1];
      if (!next || next.beat > beat) break;
      state.section += 1;
      showPart();
    }
    if (state.section !== followed) {
      followed = state.section;
      follow();
    }
    const words = countdown();
    if (el("count").textContent === words) return;
    el("count").textContent = words;
    el("go").classList.toggle("counting", words !== "");
    // The size stays while the count runs: it is that of the longest words of its kind.
    const longest = words.replace(/\d/g, "8").replace(/bar\b/, "bars").replace(/beat\b/, "beats");
    fill(el("count"), /bars$/.test(longest) ? `${longest} and 8 beats` : words === "now" ? "in 8 beats" : longest);
  }

  /** @type {Map<string, string>} */
  const sizes = new Map();

  /**
   * Make an element's text as large as its place allows; where even small letters do not fit, words are broken.
   *
   * @param {HTMLElement} element
   * @param {string} longest the text that has to fit
   */
  function fill(element, longest) {
    const place = `${element.id} ${element.clientWidth} ${element.clientHeight} ${longest}`;
    let size = sizes.get(place);
    if (size === undefined) {
      const shown = element.textContent;
      element.textContent = longest;
      element.style.overflowWrap = "normal";
      let [fits, over] = [SMALLEST, LARGEST];
      while (over - fits > 1) {
        const trial = Math.floor((fits + over) / 2);
        element.style.fontSize = `${trial}px`;
        const inside = element.scrollWidth <= element.clientWidth && element.scrollHeight <= element.clientHeight;
        if (inside) fits = trial;
        else over = trial;
      }
      element.style.overflowWrap = "";
      element.textContent = shown;
      size = `${fits}px`;
      sizes.set(place, size);
    }
    element.style.fontSize = size;
  }

  /**
   * @param {string} name
   * @param {string} text
   */
  function safety(name, text) {
    el("safety-name").textContent = name;
    el("safety-text").textContent = text;
    el("back-in").textContent = song.back_in;
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

  // The screen: awake where the browser allows it (Screen Wake Lock, W3C), and as bright as was chosen.

  let awake = false;

  async function stayAwake() {
    if (awake || document.visibilityState !== "visible") return;
    try {
      const lock = await navigator.wakeLock.request("screen");
      awake = true;
      lock.addEventListener("release", () => {
        awake = false;
        showAwake();
      });
    } catch {
      // Not known, not allowed, or the battery is low: it is said, and all else works.
    }
    showAwake();
  }

  function showAwake() {
    el("awake").textContent = awake
      ? "The screen stays awake."
      : "This browser does not keep the screen awake: set the tablet to leave it on.";
  }

  /** @returns {number} */
  function keptBrightness() {
    try {
      return Math.max(BRIGHTNESS.findIndex(([name]) => name === localStorage.getItem(DIMMED)), 0);
    } catch {
      return 0; // nothing may be kept here
    }
  }

  let bright = keptBrightness();

  function showBrightness() {
    const [name, share] = BRIGHTNESS[bright];
    document.body.style.filter = share === 1 ? "" : `brightness(${share})`;
    el("dim").textContent = `brightness: ${name}`;
  }

  function dim() {
    bright = (bright + 1) % BRIGHTNESS.length;
    try {
      localStorage.setItem(DIMMED, BRIGHTNESS[bright][0]);
    } catch {
      // It holds until the page is closed.
    }
    showBrightness();
  }

  el("go").addEventListener("click", go);
  el("back").addEventListener("click", back);
  el("tap").addEventListener("pointerdown", tap);
  el("dim").addEventListener("click", dim);
  el("home").addEventListener("click", () => safety("HOME", song.home));
  el("out").addEventListener("click", () => safety("ALL OUT", song.all_out));
  el("resume").addEventListener("click", () => {
    el("safety").hidden = true;
  });
  document.addEventListener("keydown", (event) => {
    if (event.target instanceof HTMLSelectElement) return;
    if (event.target instanceof HTMLButtonElement && ["Enter", " "].includes(event.key)) return;
    const does = { ArrowRight: go, " ": go, ArrowLeft: back, t: tap }[event.key];
    if (does && el("safety").hidden) {
      event.preventDefault();
      does();
    }
  });
  // Some browsers allow it only once somebody has touched the page; all let it go while the page is out of sight.
  document.addEventListener("visibilitychange", stayAwake);
  document.addEventListener("pointerdown", stayAwake);
  window.addEventListener("resize", () => {
    fill(el("what"), el("what").textContent);
    el("count").textContent = "";
    tick();
    follow();
  });

  const songs = /** @type {HTMLSelectElement} */ (el("songs"));
  songs.replaceChildren(...night.songs.map((each, index) => new Option(each.label, String(index))));
  songs.hidden = night.songs.length < 2;
  el("title").hidden = !songs.hidden;
  songs.addEventListener("change", () => {
    songs.blur();
    open(Number(songs.value));
  });
  showBrightness();
  showAwake();
  stayAwake();
  open(0);
  state.touched = -Infinity;
  setInterval(tick, 100);
})();
