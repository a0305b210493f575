// @ts-check
import { el, svg } from "./dom.js";
import { COMMANDS, shown } from "./keys.js";
import { CATEGORIES, lateWords } from "./presses.js";

/** @import { ChartView } from "./chart-view.js" */
/** @import { Choices } from "./chosen.js" */
/** @import { PressedPart, PressedSection } from "./content.js" */
/** @import { DeskView } from "./desk-view.js" */
/** @import { Hand } from "./hand.js" */
/** @import { Player } from "./player.js" */
/** @import { Category } from "./presses.js" */
/** @import { Pressing } from "./pressing.js" */
/** @import { Store } from "./store.js" */

const MODES = /** @type {const} */ (["press", "late", "pressed"]);
const ROW = 7; // units below the staff's top: above the curve of the drive, mostly
const STROKE = 3.6; // units from one stroke to the next
const HIGH = 4; // units, half a stroke

/**
 * Pressing along as it is seen: what keys and fingers press, on the desk; and what was pressed, in a row of its own in
 * the staffs of the chart. A category is as many strokes as its key says, a hit a cross, a note a small sheet.
 */
export class PressView {
  #pressing;
  #store;
  #player;
  #hand;
  #choices;
  #chart;
  #about = el("p", { class: "unseen", role: "status", "aria-live": "polite" });
  #now = el("p", { class: "small" });
  #what = el("p", { class: "what" });
  #because = el("p", { class: "because" });
  #pads = new Map(["rest", "subtle", "lift", "intense", "hit", "note"].map((kind) => [kind, button(`press-${kind}`, { class: "pad" })]));
  #tap = button("late-tap", { class: "pad" });
  #take = button("pressed-take");
  #leave = button("pressed-leave");
  #places = el("div", { class: "keys", id: "differ" });
  #shownPlaces = "";
  #shownHere = "";
  /** By the mode, what the desk shows. @type {Record<string, HTMLElement[]>} */
  #slips;

  /**
   * @param {object} parts
   * @param {Pressing} parts.pressing
   * @param {Store} parts.store
   * @param {Player} parts.player
   * @param {Hand} parts.hand
   * @param {Choices} parts.choices
   * @param {ChartView} parts.chart
   * @param {DeskView} parts.desk
   */
  constructor({ pressing, store, player, hand, choices, chart, desk }) {
    this.#pressing = pressing;
    this.#store = store;
    this.#player = player;
    this.#hand = hand;
    this.#choices = choices;
    this.#chart = chart;
    const keys = (/** @type {HTMLElement[]} */ ...buttons) => el("div", { class: "keys" }, ...buttons);
    const pads = el("div", { class: "pads" }, ...this.#pads.values());
    this.#slips = {
      press: [this.#now, pads, keys(button("press-done"), button("press-back"), button("press-late"), back())],
      late: [this.#now, this.#what, el("div", { class: "pads" }, this.#tap), keys(button("late-done"), back())],
      pressed: [
        this.#now,
        this.#what,
        this.#because,
        keys(this.#take, this.#leave, button("pressed-all"), button("pressed-on"), button("pressed-more"), button("pressed-drop"), back()),
        this.#places,
      ],
    };
    desk.element.append(this.#about);
    for (const mode of MODES) {
      desk.slips[mode] = () => {
        this.#draw();
        return this.#slips[mode];
      };
    }
    for (const source of [pressing, hand, player, choices]) source.addEventListener("change", () => this.#drawAll());
    store.addEventListener("song", () => this.#drawAll());
  }

  /** Called on every picture: while the song plays, the section that is heard changes by itself. */
  picture() {
    if (this.#hand.now.mode === "pressed" && (this.#pressing.here?.id ?? "") !== this.#shownHere) this.#draw();
  }

  #drawAll() {
    if (!this.#store.there) return;
    this.#draw();
    this.#drawChart();
  }

  #draw() {
    const { mode } = this.#hand.now;
    if (mode === "press") this.#drawPress();
    else if (mode === "late") this.#drawLate();
    else if (mode === "pressed") this.#drawPressed();
    else this.#tell("");
  }

  /** @param {string} said for those who do not see it */
  #tell(said) {
    if (this.#about.textContent !== said) this.#about.textContent = said;
  }

  #drawPress() {
    const { presses, held } = this.#pressing.pass;
    const count = `${presses.length} press${presses.length === 1 ? "" : "es"}`;
    const state = this.#player.playing ? count : `${count} · The song is paused and takes none. Space plays on.`;
    this.#now.textContent = `Press along · ${lateWords(this.#choices.now.late)} · ${state}`;
    for (const category of CATEGORIES) this.#pads.get(category)?.setAttribute("aria-pressed", String(held === category));
    this.#tell(held ?? "");
  }

  #drawLate() {
    const { taps } = this.#pressing;
    this.#now.textContent = `How late you press · ${lateWords(this.#choices.now.late)}`;
    this.#what.textContent = "A click sounds, for twenty seconds. Tap on every click, as you hear it.";
    const words = ` tap (${taps.length})`;
    if (this.#tap.lastChild?.textContent !== words) this.#tap.lastChild?.replaceWith(words);
    this.#tell("");
  }

  #drawPressed() {
    const { here, open, proposal } = this.#pressing;
    this.#shownHere = here?.id ?? "";
    this.#now.textContent = `What you pressed, beside the draft · ${proposal?.words ?? ""}.`;
    const left = here?.news && !open.includes(here) ? " It stays so." : "";
    this.#what.textContent = here ? `${here.words}${left}` : "Here nothing was pressed; all stays as drafted.";
    this.#because.textContent = here?.more ?? "";
    const mark = here?.news ? here.mark : "this section";
    for (const [made, words] of /** @type {const} */ ([[this.#take, `take over ${mark}`], [this.#leave, `leave ${mark} as drafted`]])) {
      made.lastChild?.replaceWith(` ${words}`);
      made.disabled = !here?.news;
    }
    this.#tell(this.#what.textContent);
    const places = open.map((each) => [each.id, `${each.mark}${each.differs ? ` ${each.drafted ?? "none"} → ${each.pressed}` : ""}`]);
    const text = JSON.stringify(places);
    if (text === this.#shownPlaces) return;
    this.#shownPlaces = text;
    this.#places.replaceChildren(el("span", { class: "small" }, places.length ? "Where it differs:" : ""), ...places.map(([id, words]) => el("button", { type: "button", "data-do": `pressed-at:${id}` }, words)));
  }

  // The chart.

  #drawChart() {
    const { mode } = this.#hand.now;
    const { proposal } = this.#pressing;
    if (mode === "press") this.#chart.pressed.replaceChildren(...this.#live());
    else if (mode === "pressed" && proposal) {
      const sections = new Map(proposal.sections.map((each) => [each.id, each]));
      this.#chart.pressed.replaceChildren(
        ...proposal.parts.flatMap((part) => this.#part(part, sections.get(part.section ?? ""))),
        ...proposal.hits.flatMap((hit) => this.#mark("hit", hit.seconds, hit.new ? "new" : "")),
        ...proposal.notes.flatMap((note) => this.#mark("note", note.seconds, "new")),
      );
    } else this.#chart.pressed.replaceChildren();
  }

  /** What was pressed so far, at the moments that were meant. */
  #live() {
    return this.#pressing.pass.presses.flatMap(({ at, kind }) => this.#mark(kind, at, "new"));
  }

  /**
   * A category over its bars; with words where the draft has another one.
   *
   * @param {PressedPart} part
   * @param {PressedSection | undefined} section
   */
  #part(part, section) {
    const other = section?.differs && part.category === section.pressed;
    const made = this.#mark(part.category, part.start, other ? "new" : "");
    for (const { line, x, to } of this.#chart.linesBetween(part.start, part.end)) {
      const y = line.y + line.staff_top + ROW;
      const band = { class: "pressed", x: x + 1, y: y - 6, width: to - x - 2, height: 12 };
      made.unshift(other ? svg("rect", band) : svg("path", { class: "pressed held", d: `M${x + 20} ${y}H${to - 4}` }));
    }
    const found = this.#chart.find(part.start);
    if (other && found) {
      const text = svg("text", { class: "words pressed", x: found.x + 20, y: found.line.y + found.line.staff_top + ROW + 4, "font-size": 11 });
      text.textContent = `${part.category}, not ${section.drafted ?? "drafted"}`;
      made.push(text);
    }
    return made;
  }

  /**
   * @param {Category | "hit" | "note"} kind
   * @param {number} seconds
   * @param {string} more of its class
   * @returns {SVGElement[]}
   */
  #mark(kind, seconds, more) {
    const found = this.#chart.find(seconds);
    if (!found) return [];
    const y = found.line.y + found.line.staff_top + ROW;
    return [svg("path", { class: `pressed ${more}`, d: shape(kind, found.x, y) })];
  }
}

/**
 * @param {Category | "hit" | "note"} kind
 * @param {number} x
 * @param {number} y
 */
function shape(kind, x, y) {
  if (kind === "hit") return `M${x - 3} ${y + 7}l6 6m-6 0l6 -6`;
  if (kind === "note") return `M${x - 3} ${y + 6}h4l3 3v5h-7z`;
  const strokes = CATEGORIES.indexOf(kind);
  if (!strokes) return `M${x + 4} ${y}a3 3 0 1 0 6 0a3 3 0 1 0 -6 0`;
  return Array.from({ length: strokes }, (_, k) => `M${x + 5 + STROKE * k} ${y - HIGH}v${2 * HIGH}`).join("");
}

/**
 * The button of a command, with its key and its label.
 *
 * @param {string} id
 * @param {Record<string, string>} attributes
 */
function button(id, attributes = {}) {
  const { keys, label } = COMMANDS.find((each) => each.id === id) ?? { keys: [""], label: id };
  return el("button", { type: "button", "data-do": id, ...attributes }, el("kbd", {}, shown(keys[0])), ` ${label}`);
}

const back = () => el("button", { type: "button", "data-do": "leave" }, el("kbd", {}, "Esc"), " leave");
