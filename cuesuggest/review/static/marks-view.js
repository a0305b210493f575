// @ts-check
import { svg } from "./dom.js";

/** @import { ChartView } from "./chart-view.js" */
/** @import { ChartLine } from "./content.js" */
/** @import { Hand } from "./hand.js" */
/** @import { Store } from "./store.js" */

const CORNER = 6; // units of a bracket's arms

/** @typedef {{line: ChartLine, x: number, to: number}} Run bars side by side on one line, in units of the chart */

/**
 * Marks on the chart that come and go: half brackets around the bars that the last decision changed, as editors set
 * them, and a numbered pin at each place that the answers to a question point to.
 */
export class MarksView {
  #chart;
  #store;
  #hand;
  #about;
  /** @type {string | null} id of the question whose places were brought onto the screen */
  #pointed = null;

  /**
   * @param {ChartView} chart
   * @param {Store} store
   * @param {Hand} hand
   * @param {HTMLElement} about says the same to those who do not see the chart
   */
  constructor(chart, store, hand, about) {
    this.#chart = chart;
    this.#store = store;
    this.#hand = hand;
    this.#about = about;
    for (const [source, name] of /** @type {[EventTarget, string][]} */ ([[store, "song"], [hand, "change"]])) {
      source.addEventListener(name, () => store.there && this.#draw());
    }
  }

  #draw() {
    const { changed, questions } = this.#store.page;
    const { mode, question } = this.#hand.now;
    const asked = mode ? undefined : questions.find((each) => each.id === question);
    this.#about.textContent = changed.words && `Changed last: ${changed.words}.`;
    const runs = changed.stretches.flatMap((starts) => this.#runs(starts));
    this.#chart.under.replaceChildren(...runs.map((run) => this.#tint(run)));
    /** @type {Map<number, {ids: number[], labels: string[]}>} */
    const places = new Map();
    for (const { id, at, label } of asked?.answers ?? []) {
      if (at === null) continue;
      const there = places.get(at) ?? { ids: [], labels: [] };
      there.ids.push(id);
      there.labels.push(`${id + 1}: ${label}`);
      places.set(at, there);
    }
    const pins = [...places].flatMap(([at, { ids, labels }]) => this.#pin(at, ids, labels.join("; ")));
    this.#chart.over.replaceChildren(...runs.map((run) => this.#brackets(run)), ...pins);
    const [first] = [...places.keys()].sort((a, b) => a - b);
    if (asked && first !== undefined && asked.id !== this.#pointed) this.#chart.reveal(first);
    this.#pointed = asked?.id ?? null;
  }

  /**
   * Bars, as they stand side by side on the lines.
   *
   * @param {number[]} starts
   */
  #runs(starts) {
    /** @type {Run[]} */
    const runs = [];
    for (const start of starts) {
      const found = this.#chart.barAt(start);
      if (!found) continue;
      const { line, bar } = found;
      const last = runs.at(-1);
      if (last?.line === line && Math.abs(last.to - line.x - bar.x) < 1) last.to = line.x + bar.x + bar.width;
      else runs.push({ line, x: line.x + bar.x, to: line.x + bar.x + bar.width });
    }
    return runs;
  }

  /** @param {Run} run */
  #tint({ line, x, to }) {
    return svg("rect", { class: "changed", x, y: line.y + line.staff_top, width: to - x, height: line.staff_base - line.staff_top });
  }

  /** @param {Run} run */
  #brackets({ line, x, to }) {
    const top = line.y + line.staff_top - 2;
    const low = line.y + line.staff_base + 2;
    const left = `M${x + 1 + CORNER} ${top}H${x + 1}V${top + CORNER}M${x + 1 + CORNER} ${low}H${x + 1}V${low - CORNER}`;
    const right = `M${to - 1 - CORNER} ${top}H${to - 1}V${top + CORNER}M${to - 1 - CORNER} ${low}H${to - 1}V${low - CORNER}`;
    return svg("path", { class: "changed", d: left + right });
  }

  /**
   * @param {number} at seconds
   * @param {number[]} ids of the answers that point there
   * @param {string} label
   */
  #pin(at, ids, label) {
    const found = this.#chart.find(at);
    if (!found) return [];
    const { line, x } = found;
    const top = line.y + line.staff_top;
    const numbers = ids.map((id) => id + 1).join(" ");
    const pin = svg("g", { class: "pin", "data-answer": ids[0] });
    const title = svg("title");
    title.textContent = `${label}. Press to hear it.`;
    const stem = svg("path", { class: "pin", d: `M${x} ${top}V${line.y + line.light_y}` });
    // Narrow enough for one at each beat of a bar, and inside the staff, where nothing else is to be read.
    const width = 9 + 6 * numbers.length;
    const frame = svg("rect", { class: "pin", x: x - width / 2, y: top + 5, width, height: 16, rx: 7 });
    const text = svg("text", { class: "words pin", x, y: top + 17, "font-size": 12, "text-anchor": "middle" });
    text.textContent = numbers;
    pin.append(title, stem, frame, text);
    return [pin];
  }
}
