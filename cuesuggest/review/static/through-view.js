// @ts-check
import { counted, until } from "./coming.js";
import { around, el, find, listen } from "./dom.js";
import { keyOf } from "./keys.js";
import { MidiHands } from "./midi-hands.js";
import { barStep, placeAt, sectionStep } from "./places.js";
import { TappedClock } from "./tapped-clock.js";
import { actsOf, Judge, around as loopAround, Round, saidOf, sideKeys } from "./through.js";
import { summaryOf } from "./through-summary.js";

/** @import { Choices } from "./chosen.js" */
/** @import { Player } from "./player.js" */
/** @import { Store } from "./store.js" */
/** @import { Act, Attempt, Pressed } from "./through.js" */

const THEN = 3; // acts that are shown after the next one
const LATELY = 8; // s for which the cue that went wrong is the one that a loop is meant for
const JUMPED = 2; // s; more than a busy machine skips
const MOST_DELAY = 0.25; // s from a press to its handling
const [SHOT, DARK, NOW] = ["the one-shot", "the held dark", "now"];
const KEYS = { [SHOT]: "j", [DARK]: "h" };
const TAKEN = "jhtroi"; // letters that no side gets

/** Keys that jump, and what they do. @type {Record<string, string>} */
const ACTS = {
  Enter: "play", ArrowLeft: "bar-back", ArrowRight: "bar-on", "Shift+ArrowLeft": "section-back", "Shift+ArrowRight": "section-on",
  ArrowUp: "cue-back", ArrowDown: "cue-on", Home: "start", "-": "slower", "=": "faster", "+": "faster",
  t: "tap", r: "recording", o: "round", i: "controller", Escape: "end",
};

/**
 * The run-through: the song goes by in words, the person presses along, and is told how each press was. It changes
 * nothing in the song.
 */
export class ThroughView {
  #dialog;
  #store;
  #player;
  #choices;
  /** @type {Player | TappedClock} */
  #clock;
  /** @type {Act[]} */
  #acts = [];
  #revision = -1;
  /** @type {Judge} */
  #judge;
  /** @type {Round | null} */
  #round = null;
  /** @type {Map<string, string>} side by key */
  #sides = new Map();
  /** @type {Map<string, string>} id of the held cue by what holds it */
  #held = new Map();
  #before = 0;
  #ran = false;
  #summed = false;
  /** @type {MidiHands | null} */
  #midi = null;
  #midiSaid = "";

  /**
   * @param {HTMLDialogElement} dialog
   * @param {Store} store
   * @param {Player} player
   * @param {Choices} choices
   */
  constructor(dialog, store, player, choices) {
    this.#dialog = dialog;
    this.#store = store;
    this.#player = this.#clock = player;
    this.#choices = choices;
    this.#judge = new Judge({ beats: [], bars: [], sections: [], start: 0, end: 0, tempo: null, signature: null }, []);
    store.addEventListener("song", () => this.open && this.#take());
    listen(player, "problem", (/** @type {string} */ said) => this.open && this.#say(said));
    document.addEventListener("keyup", (event) => {
      if (this.open) this.#up(keyOf(event).replace("Shift+", ""), event);
    });
    dialog.addEventListener("pointerdown", (event) => this.#finger(event));
    for (const name of ["pointerup", "pointercancel"]) {
      dialog.addEventListener(name, (event) => event instanceof PointerEvent && this.#up(`finger ${event.pointerId}`, event));
    }
    dialog.addEventListener("click", (event) => this.#click(event));
    dialog.addEventListener("cancel", (event) => {
      event.preventDefault();
      this.#end();
    });
    dialog.addEventListener("close", () => this.#leave());
  }

  get open() {
    return this.#dialog.open;
  }

  get #page() {
    return this.#store.page;
  }

  get #music() {
    return this.#page.music;
  }

  show() {
    const { sound, music } = this.#page;
    if (this.#player.loop) this.#player.setLoop(this.#player.loop);
    const at = this.#player.seconds;
    this.#clock = sound ? this.#player : new TappedClock(music);
    if (!sound) this.#clock.seek(Math.max(at, music.start));
    this.#revision = -1;
    this.#round = null;
    this.#ran = this.#summed = false;
    this.#dialog.showModal();
    this.#take();
    this.#picture();
  }

  /** What is to be done, as the song is now; what was tried before it changed is of another song. */
  #take() {
    const { revision, sides } = this.#page;
    if (revision === this.#revision) return;
    this.#revision = revision;
    this.#acts = actsOf(this.#page).acts;
    this.#sides = sideKeys(sides, TAKEN);
    this.#round = null;
    this.#summed = false;
    this.#again();
    this.#draw();
  }

  #again() {
    this.#judge = new Judge(this.#music, this.#acts);
    this.#held.clear();
    this.#judge.jump(this.#clock.seconds);
    this.#before = this.#clock.seconds;
  }

  // The window: made once, so that a press is never lost to a new drawing; then only its words change.

  #draw() {
    const { title, music } = this.#page;
    const before = actsOf(this.#page).before;
    const press = (/** @type {string} */ name, /** @type {string} */ key, /** @type {string} */ words) =>
      el("button", { type: "button", class: "press", "data-press": name }, words, " ", el("kbd", {}, key));
    this.#dialog.replaceChildren(
      el("div", { class: "top" }, el("h2", {}, `Run-through: ${title}`), el("p", { class: "small how" })),
      el(
        "div",
        { class: "running" },
        el("div", { class: "here" }, el("span", { class: "part" }), el("span", { class: "counting" }), el("span", { class: "first-words" })),
        el("div", { class: "due" }, el("p", { class: "in" }), el("p", { class: "sentence", role: "status", "aria-live": "polite" })),
        el("ol", { class: "then" }, ...Array.from({ length: THEN }, () => el("li"))),
        before.length ? el("p", { class: "before" }, `Before the song: ${before.map((cue) => `cue ${cue.number}, ${cue.action}`).join("; ")}.`) : null,
      ),
      el("div", { class: "summary", hidden: true }),
      el("p", { class: "verdict", role: "status", "aria-live": "polite" }),
      el(
        "div",
        { class: "pressing", role: "group", "aria-label": "Press along" },
        press(NOW, "Space", "Now"),
        ...[...this.#sides].map(([key, side]) => press(`side ${side}`, key.toUpperCase(), `Side ${side}`)),
        ...(this.#acts.some((act) => act.control === "one-shot") ? [press(SHOT, "J", "One-shot")] : []),
        ...(this.#acts.some((act) => act.control === "dark") ? [press(DARK, "H", "Dark, held")] : []),
      ),
      el("div", { class: "keys steps" }, ...this.#steps()),
      el(
        "div",
        { class: "keys parts", role: "group", "aria-label": "Jump to a section" },
        ...music.sections.map((each, index) => el("button", { type: "button", "data-part": String(index), "aria-label": `To ${each.label}${each.pass}${each.name ? `, ${each.name}` : ""}` }, `${each.label}${each.pass}`)),
      ),
      el("div", { class: "controller", hidden: true }),
    );
    this.#dialog.focus();
  }

  #steps() {
    const step = (/** @type {string} */ id, /** @type {string} */ key, /** @type {string} */ words) =>
      el("button", { type: "button", "data-step": id }, el("kbd", {}, key), " ", el("span", {}, words));
    return [
      step("play", "Enter", "start"),
      step("round", "O", "loop"),
      step("end", "Esc", "summary"),
      step("cue-back", "↑", "cue before"),
      step("cue-on", "↓", "next cue"),
      step("bar-back", "←", "bar back"),
      step("bar-on", "→", "bar on"),
      step("section-back", "Shift ←", "section back"),
      step("section-on", "Shift →", "section on"),
      step("start", "Home", "to the start"),
      step("slower", "-", "slower"),
      step("faster", "=", "faster"),
      step("tap", "T", "tap the tempo"),
      ...(this.#page.sound ? [step("recording", "R", "follow the recording")] : []),
      step("controller", "I", "a MIDI controller"),
    ];
  }

  /** @param {string} selector */
  #part(selector) {
    return find(selector, HTMLElement, this.#dialog);
  }

  /** Written only where it changed, so that it is read out once. @param {string} selector @param {string} words */
  #write(selector, words) {
    const part = this.#part(selector);
    if (part.textContent !== words) part.textContent = words;
  }

  /** @param {string} said @param {string} mark */
  #say(said, mark = "") {
    this.#write(".verdict", said);
    this.#part(".verdict").dataset.mark = mark;
  }

  /** @param {Attempt | null} attempt */
  #tell(attempt) {
    this.#say(saidOf(attempt), attempt?.mark ?? "stray");
  }

  // The picture follows the clock.

  #picture() {
    if (!this.open) return;
    requestAnimationFrame(() => this.#picture());
    const clock = this.#clock;
    const now = clock.seconds;
    const apart = now - this.#before;
    // A player may be moved by its own keys.
    if (clock.playing ? apart < -0.05 || apart > JUMPED : Math.abs(apart) > 0.05) this.#judge.jump(now);
    this.#before = now;
    if (clock.playing) this.#going(now);
    else if (this.#ran && now >= this.#music.end - 0.1) {
      this.#ran = false;
      this.#sum();
    }
    if (!this.#summed) this.#words(now);
  }

  /** @param {number} now */
  #going(now) {
    this.#ran = true;
    if (this.#clock instanceof TappedClock && now >= this.#music.end) this.#clock.toggle();
    const missed = this.#judge.passed(now, this.#clock.rate).at(-1);
    if (missed) this.#tell(missed);
    const round = this.#round;
    if (!round || now < round.end) return;
    const number = round.act.number;
    const sits = round.turned();
    if (sits) {
      this.#round = null;
      this.#say(`Cue ${number} sits: three good rounds in a row. On it goes.`, "good");
    } else {
      this.#go(round.start);
      if (round.row) this.#say(`Cue ${number}: ${counted(round.row, "good round")} in a row.`, "good");
      else this.#say(`Cue ${number} once more, from the bar before.`);
    }
  }

  /** @param {number} now */
  #words(now) {
    const { music } = this.#page;
    const { section, inSection, of, bar, beat } = placeAt(music, now);
    const [next, ...after] = this.#judge.ahead;
    const when = (/** @type {Act} */ act) => (act.at <= now ? "now" : until(music, now, act.at));
    this.#write(".part", section ? `${section.label}${section.pass}${section.name ? ` ${section.name}` : ""}` : "");
    this.#write(".counting", bar === null ? "" : `bar ${inSection ?? bar}${of ? ` of ${of}` : ""}, beat ${beat}`);
    this.#write(".first-words", section?.words ? `“${section.words}”` : "");
    this.#write(".in", next ? when(next) : "");
    this.#write(".sentence", next ? `Cue ${next.number}. ${next.hand}.` : this.#acts.length ? "Nothing more to do." : "There is nothing for an operator to do in this song.");
    const items = this.#dialog.querySelectorAll(".then li");
    for (const [index, item] of items.entries()) {
      const act = after[index];
      const words = act ? `${when(act)}: cue ${act.number}, ${act.action}` : "";
      if (item.textContent !== words) item.textContent = words;
    }
    this.#write(".how", this.#how());
    this.#write("[data-step=play] span", this.#clock.playing ? "pause" : "start");
    const follows = this.#clock === this.#player;
    for (const id of ["slower", "faster", "recording"]) {
      const button = this.#dialog.querySelector(`[data-step=${id}]`);
      if (button instanceof HTMLElement) button.hidden = follows === (id === "recording");
    }
    const meant = this.#meant();
    this.#write("[data-step=round] span", this.#round ? "loop no more" : meant ? `loop cue ${meant.number}` : "loop");
    for (const part of this.#dialog.querySelectorAll("[data-part]")) {
      const here = part instanceof HTMLElement && music.sections[Number(part.dataset.part)] === section;
      if (here) part.setAttribute("aria-current", "true");
      else part.removeAttribute("aria-current");
    }
  }

  /** What it follows, and what presses are measured by. */
  #how() {
    const clock = this.#clock;
    const { late } = this.#choices.now;
    const tapped = clock instanceof TappedClock;
    const follows = tapped
      ? clock.counted ? `follows your tempo, ${Math.round(clock.tempo)} beats a minute` : "without sound and beats: by the seconds"
      : `follows the recording${clock.rate < 1 ? ` at ${clock.rate} of its speed` : ""}`;
    return [
      clock.playing ? follows : `${follows}; standing`,
      this.#round ? `round cue ${this.#round.act.number} until three rounds are good` : "",
      tapped ? "" : late !== null ? `your ${late} ms are taken off` : "your own latency is not known, and not taken off",
    ].filter(Boolean).join(" · ");
  }

  /** Seconds by which this person presses late, where that was measured on this machine. */
  get #latency() {
    return (this.#choices.now.late ?? 0) / 1000;
  }

  /** The cue that a loop is meant for: the one that has just gone wrong, else the next. */
  #meant() {
    const last = this.#judge.attempts.at(-1);
    const lately = last && last.mark !== "good" && Math.abs(this.#clock.seconds - last.act.at) < LATELY;
    return lately ? last.act : (this.#judge.ahead[0] ?? last?.act ?? null);
  }

  // Pressing along.

  /**
   * @param {KeyboardEvent} event a key that goes down while this is open
   */
  key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const key = keyOf(event);
    const onButton = around(event, "button");
    if (onButton && (key === "Enter" || (key === "Space" && !this.#clock.playing))) return;
    const name = this.#summed ? undefined : this.#nameOf(key.replace("Shift+", ""));
    // In the summary arrows scroll.
    const step = this.#summed && !["Enter", "Escape"].includes(key) ? undefined : ACTS[key];
    if (!name && !step) return;
    event.preventDefault();
    if (name) {
      if (!event.repeat) this.#down(name, key.replace("Shift+", ""), event);
    } else if (step && (!event.repeat || key.includes("Arrow"))) this.#step(step);
  }

  /** @param {string} key */
  #nameOf(key) {
    if (key === "Space") return NOW;
    const side = this.#sides.get(key);
    if (side !== undefined) return `side ${side}`;
    return Object.entries(KEYS).find(([, each]) => each === key)?.[0];
  }

  /**
   * Something of the hand's goes down.
   *
   * @param {string} name
   * @param {string} by the key, finger or control that is held now
   * @param {Event} event
   */
  #down(name, by, event) {
    if (this.#summed) return;
    if (!this.#clock.playing) {
      if (name === NOW) this.#toggle();
      else this.#say("It stands. Space or “start” lets it go.");
      return;
    }
    const attempt = this.#judge.press(pressedBy(name), this.#timeOf(event), this.#clock.rate);
    if (attempt?.act.control === "dark" && attempt.mark !== "wrong") this.#held.set(by, attempt.act.cue);
    this.#tell(attempt);
  }

  /**
   * @param {string} by
   * @param {Event} event
   */
  #up(by, event) {
    // A button that has the focus would be pressed by it.
    if (by === "Space" && this.#clock.playing) event.preventDefault();
    const cue = this.#held.get(by);
    this.#held.delete(by);
    const attempt = cue === undefined ? null : this.#judge.letGo(cue, this.#timeOf(event), this.#clock.rate);
    if (attempt) this.#tell(attempt);
  }

  /** When a press was meant: without the way to this script and, along a recording, the person's latency. @param {Event} event */
  #timeOf(event) {
    const waited = Math.min(Math.max((performance.now() - event.timeStamp) / 1000, 0), MOST_DELAY);
    const latency = this.#clock === this.#player ? this.#latency : 0;
    return this.#clock.seconds - (waited + latency) * this.#clock.rate;
  }

  /** @param {PointerEvent} event */
  #finger(event) {
    const button = around(event, "[data-press], [data-step=tap]");
    if (!button) return;
    if (button.dataset.step) this.#tap();
    else this.#down(button.dataset.press ?? "", `finger ${event.pointerId}`, event);
  }

  /** @param {MouseEvent} event */
  #click(event) {
    const button = around(event, "button");
    if (!button) return;
    const { press, step, part, loop, learn } = button.dataset;
    const finger = event.detail > 0;
    // What a finger presses along counted as it came down; whoever works by keys or by voice only clicks.
    if (press !== undefined) {
      if (finger) return;
      this.#down(press, "click", event);
      this.#up("click", event);
      return;
    }
    if (finger) this.#dialog.focus();
    if (part !== undefined) this.#jump(this.#music.sections[Number(part)].start);
    else if (loop !== undefined) this.#loop(this.#acts.find((act) => act.cue === loop) ?? null);
    else if (learn !== undefined) this.#learn(learn);
    else if (step !== undefined && !(step === "tap" && finger)) this.#step(step);
  }

  // Going about.

  /** @param {string} id */
  #step(id) {
    const { bars, sections, start } = this.#music;
    const now = this.#clock.seconds;
    switch (id) {
      case "play":
        this.#summed ? this.#resume() : this.#toggle();
        break;
      case "bar-back":
      case "bar-on":
        this.#jump(barStep(bars, now, id === "bar-on" ? 1 : -1));
        break;
      case "section-back":
      case "section-on":
        this.#jump(sectionStep(sections, now, id === "section-on" ? 1 : -1));
        break;
      case "cue-back":
      case "cue-on":
        this.#jump(this.#intoCue(id === "cue-on" ? 1 : -1));
        break;
      case "start":
        this.#jump(start);
        break;
      case "slower":
      case "faster":
        if (this.#clock instanceof TappedClock) this.#say("The tempo is as you tap it.");
        else this.#clock.pace(id === "faster" ? 1 : -1);
        break;
      case "round":
        if (this.#round) this.#round = null;
        else this.#loop(this.#meant());
        break;
      case "tap":
        this.#tap();
        break;
      case "recording":
        this.#follow(this.#player);
        break;
      case "controller":
        this.#controller();
        break;
      case "again":
        this.#again();
        this.#resume();
        this.#jump(start);
        break;
      case "leave":
        this.#dialog.close();
        break;
      default:
        this.#end();
    }
  }

  #toggle() {
    this.#clock.toggle();
    this.#say("");
  }

  /** @param {number | null} to */
  #jump(to) {
    if (to === null) {
      this.#say("There is nothing to go by: the song has no bars or sections.");
      return;
    }
    if (this.#summed) this.#resume();
    this.#round = null;
    this.#go(to);
  }

  /** @param {number} to */
  #go(to) {
    this.#clock.seek(to);
    this.#judge.jump(to);
    this.#held.clear();
    this.#before = to;
  }

  /** The bar before the act that is one away from the next. @param {1 | -1} way */
  #intoCue(way) {
    const starts = [...new Set(this.#acts.map((act) => loopAround(this.#music, act, this.#acts).start))].sort((a, b) => a - b);
    const now = this.#clock.seconds;
    return (way > 0 ? starts.find((each) => each > now + 0.01) : starts.findLast((each) => each < now - 0.35)) ?? starts.at(way > 0 ? -1 : 0) ?? null;
  }

  /** @param {Act | null} act */
  #loop(act) {
    if (!act) {
      this.#say("There is no cue to loop.");
      return;
    }
    if (this.#summed) this.#resume();
    const stretch = loopAround(this.#music, act, this.#acts);
    this.#go(stretch.start);
    this.#round = new Round(this.#judge, act, stretch);
    if (!this.#clock.playing) this.#clock.toggle();
    this.#say(`Round cue ${act.number} until three rounds in a row are good.`);
  }

  #tap() {
    if (this.#summed) return;
    const clock = this.#clock instanceof TappedClock ? this.#clock : new TappedClock(this.#music);
    if (!clock.counted) {
      this.#say("This song has no beats, so that there is nothing to tap.");
      return;
    }
    this.#follow(clock);
    const count = clock.tap();
    const go = clock.playing ? "" : " Space starts it on the next beat that you mean.";
    this.#say(count < 2 ? "Tap on." : `${Math.round(clock.tempo)} beats a minute, of ${count} taps.${go}`);
  }

  /** Go on by another clock, from the same place. @param {Player | TappedClock} clock */
  #follow(clock) {
    if (clock === this.#clock) return;
    const { seconds, playing } = this.#clock;
    if (playing) this.#clock.toggle();
    this.#clock = clock;
    clock.seek(seconds);
    if (playing && !clock.playing) clock.toggle();
    this.#before = clock.seconds;
  }

  // The end.

  /** From the run to its summary, from there back to the chart. */
  #end() {
    if (this.#midi?.learning) this.#learn(null);
    else if (this.#summed) this.#dialog.close();
    else if (this.#judge.attempts.length || this.#judge.strays) this.#sum();
    else this.#dialog.close();
  }

  #leave() {
    if (this.#clock.playing) this.#clock.toggle();
    // The chart goes on where the run-through was.
    if (this.#clock !== this.#player && this.#page.sound) this.#player.seek(this.#clock.seconds);
    for (const input of this.#inputs) input.onmidimessage = null;
    this.#midi = null;
  }

  /** @param {boolean} summed */
  #show(summed) {
    this.#summed = summed;
    for (const part of [".running", ".pressing", ".steps"]) this.#part(part).hidden = summed;
    this.#part(".summary").hidden = !summed;
    this.#part(".controller").hidden = summed || !this.#midi;
    this.#say("");
  }

  #resume() {
    this.#show(false);
    this.#dialog.focus();
  }

  #sum() {
    if (this.#clock.playing) this.#clock.toggle();
    this.#round = null;
    this.#show(true);
    this.#part(".summary").replaceChildren(...summaryOf(this.#judge, this.#acts));
    this.#write(".how", "");
    find("button", HTMLButtonElement, this.#part(".summary")).focus();
  }

  // A MIDI controller, where the browser has it and the person asks for it.

  /** @type {MIDIInput[]} */
  #inputs = [];

  async #controller() {
    if (this.#midi) {
      this.#learn(this.#midi.learning ? null : this.#unlearned);
      return;
    }
    if (!("requestMIDIAccess" in navigator)) {
      this.#say("This browser hears no MIDI controllers. Keys and touch do the same.");
      return;
    }
    try {
      const access = await navigator.requestMIDIAccess();
      if (!this.open) return;
      this.#midi = new MidiHands(this.#choices.now.controls);
      const hear = () => {
        this.#inputs = [...access.inputs.values()];
        for (const input of this.#inputs) input.onmidimessage = (event) => this.#heard(event);
        this.#midiSaid = this.#inputs.length ? "" : "No controller is plugged in; one that is plugged in now is heard too.";
        this.#drawController();
      };
      access.onstatechange = hear;
      hear();
      this.#learn(this.#unlearned);
    } catch {
      this.#say("The browser does not allow MIDI controllers here. Keys and touch do the same.");
    }
  }

  /** All that can be pressed. */
  get #names() {
    return [...this.#dialog.querySelectorAll("[data-press]")].flatMap((each) => (each instanceof HTMLElement ? (each.dataset.press ?? []) : []));
  }

  get #unlearned() {
    return this.#names.find((name) => this.#midi && !(name in this.#midi.controls)) ?? null;
  }

  /** @param {string | null} name */
  #learn(name) {
    if (!this.#midi) return;
    if (name === null) this.#midi.learning = null;
    else this.#midi.learn(name, true);
    this.#drawController();
  }

  /** @param {MIDIMessageEvent} event */
  #heard(event) {
    const heard = event.data && this.#midi?.take(event.data, performance.now() / 1000);
    if (!heard || !this.#midi) return;
    if (heard.what === "learned") {
      this.#choices.set({ controls: this.#midi.controls });
      const next = this.#unlearned;
      if (next !== null) this.#midi.learn(next, false);
      this.#drawController();
    } else if (heard.what === "down") this.#down(heard.name, `control of ${heard.name}`, event);
    else this.#up(`control of ${heard.name}`, event);
  }

  #drawController() {
    if (!this.#midi) return;
    const { learning, controls } = this.#midi;
    const panel = this.#part(".controller");
    const focused = panel.contains(document.activeElement);
    panel.hidden = this.#summed;
    panel.replaceChildren(
      el("p", { role: "status" }, learning ? `Move what is to be ${wordsOf(learning)}. Esc leaves it.` : `Your controller is heard. ${this.#midiSaid}`),
      el(
        "div",
        { class: "keys", role: "group", "aria-label": "Learn a control anew" },
        ...this.#names.map((name) => el("button", { type: "button", "data-learn": name }, `${wordsOf(name)}: ${name === learning ? "move it now" : name in controls ? "learned" : "not learned"}`)),
      ),
    );
    if (focused) this.#dialog.focus();
  }
}

/** @param {string} name @returns {Pressed} */
function pressedBy(name) {
  if (name === NOW) return { control: "any" };
  if (name === SHOT) return { control: "one-shot" };
  return name === DARK ? { control: "dark" } : { control: "fader", side: name.replace("side ", "") };
}

/** @param {string} name */
const wordsOf = (name) => (name === NOW ? "“now”" : name);
