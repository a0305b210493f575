// @ts-check
import { around, arrange, el, svg } from "./dom.js";
import { repeatSigns } from "./round-view.js";

/** @import { Chart, ChartLine, Point, Stroke, Words } from "./content.js" */
/** @import { Store } from "./store.js" */

// In units; bars much narrower than 60 stack their words high.
const NARROWEST = { 16: 1060, 8: 550, 4: 300 };
const LARGEST = 1.5;
const READABLE = (9.5 / 11) * (96 / 72); // text of 11 units is 9.5 points
const EDGE = 8; // units to each side of the chart, at its scale
const STATES = ["suggested", "accepted", "edited", "rejected", "added", "locked"];
const SUSTAIN = { 1: 0.9, 2: 2.0, 3: 3.6 };

/**
 * @param {Point[][]} strokes
 * @param {boolean} closed
 */
const path = (strokes, closed = false) =>
  strokes.map((points) => `M${points.map(([x, y]) => `${x} ${y}`).join("L")}${closed ? "Z" : ""}`).join("");

/**
 * Draws the geometry that chart.py made: one group a line, redrawn only where it has changed. Marks the place that
 * is heard and the cue that is meant; a press on a bar or on a cue's words says which.
 */
export class ChartView {
  #element;
  #svg;
  #store;
  /** @type {Map<string, {text: string, group: SVGGElement}>} */
  #drawn = new Map();
  #mark = svg("path", { class: "mark" });
  #spot = svg("rect", { class: "spot", height: 16, rx: 2 });
  #round = svg("g");
  /** @type {{start: number, end: number | null} | null} */
  #goesRound = null;
  /** @type {Chart | null} */
  #chart = null;
  /** @type {number | null} */
  #at = null;
  #bottom = 60;

  /** What others mark lies here: below what is written, and above it. */
  under = svg("g");
  over = svg("g");
  /** What was pressed along. */
  pressed = svg("g");

  /** How many times its own size the chart is drawn. */
  scale = 1;

  /**
   * @param {HTMLElement} element
   * @param {Store} store
   * @param {{bar: (seconds: number) => void, cue: (id: string) => void, answer: (id: string) => void}} pressed
   */
  constructor(element, store, pressed) {
    this.#element = element;
    this.#store = store;
    this.#svg = svg("svg", { role: "img", "aria-describedby": "chart-about" });
    element.append(this.#svg);
    store.addEventListener("song", () => this.#draw());
    this.#svg.addEventListener("click", (event) => {
      const cue = around(event, "[data-cue]")?.dataset.cue;
      const answer = around(event, "[data-answer]")?.dataset.answer;
      if (answer) pressed.answer(answer);
      else if (cue) pressed.cue(cue);
      else this.#pressedAt(event, pressed.bar);
    });
  }

  #draw() {
    const { page } = this.#store;
    const { chart } = page;
    const status = new Map(page.cues.map((cue) => [cue.id, `${cue.status}${cue.lock ? " locked" : ""}`]));
    if (chart === this.#chart) {
      this.#restate(status);
      return;
    }
    this.#chart = chart;
    this.#bottom = Math.max(60, ...chart.lines.map((line) => line.y + line.height));
    this.#svg.setAttribute("viewBox", `${-EDGE} 0 ${chart.width + 2 * EDGE} ${this.#bottom}`);
    this.#size(chart);
    this.#svg.setAttribute("aria-label", `Chart of ${page.title}`);
    /** @type {Map<string, {text: string, group: SVGGElement}>} */
    const kept = new Map();
    const groups = [this.#group("head", chart.header, kept, () => this.#words(chart.header, status))];
    chart.lines.forEach((line, index) => {
      const states = line.words.map((each) => each.cue && status.get(each.cue));
      groups.push(this.#group(String(index), [line, states], kept, () => this.#line(line, chart.signs, status)));
    });
    this.#drawn = kept;
    arrange(this.#svg, [this.under, this.#spot, ...groups, this.over, this.pressed, this.#round, this.#mark]);
    this.#drawRound();
    if (this.#at !== null) this.mark(this.#at, false);
  }

  /** @param {Chart} chart */
  #size(chart) {
    this.#svg.setAttribute("width", String((chart.width + 2 * EDGE) * this.scale));
    this.#svg.setAttribute("height", String(this.#bottom * this.scale));
  }

  /** Draw the chart as it is a little smaller, where it would not quite stand in the window. */
  shrink() {
    if (!this.#chart || this.fits) return;
    this.scale = Math.max(1, (this.#element.clientHeight - 16) / this.#bottom);
    this.#size(this.#chart);
  }

  /**
   * Only what was decided has changed, as on a key whose answer is still on its way: the drawing stands.
   *
   * @param {Map<string, string>} status
   */
  #restate(status) {
    for (const text of this.#svg.querySelectorAll("text")) {
      if (text.dataset.cue === undefined) continue;
      text.classList.remove(...STATES);
      const now = status.get(text.dataset.cue);
      if (now) text.classList.add(...now.split(" "));
    }
  }

  /**
   * What was drawn before of the same content, or drawn anew.
   *
   * @param {string} key
   * @param {unknown} content
   * @param {Map<string, {text: string, group: SVGGElement}>} kept
   * @param {() => SVGElement[]} draw
   */
  #group(key, content, kept, draw) {
    const text = JSON.stringify(content);
    const before = this.#drawn.get(key);
    const same = before?.text === text;
    const group = same ? before.group : svg("g");
    if (!same) group.append(...draw());
    kept.set(key, { text, group });
    return group;
  }

  /**
   * @param {ChartLine} line
   * @param {Record<string, Stroke[]>} signs
   * @param {Map<string, string>} status
   */
  #line(line, signs, status) {
    /** @type {SVGElement[]} */
    const made = [];
    /**
     * @param {string} kind
     * @param {string} data
     * @param {Record<string, string | number>} attributes
     */
    const stroke = (kind, data, attributes = {}) => {
      if (data) made.push(svg("path", { class: kind, d: data, ...attributes }));
    };
    const base = line.staff_base;
    stroke("staff", path([[[line.staff_x, base], [line.staff_to_x, base]]]));
    for (const dashed of [false, true]) {
      const edges = new Set(
        line.bars.filter((bar) => bar.dashed === dashed).flatMap((bar) => [bar.x, Math.round((bar.x + bar.width) * 100) / 100]),
      );
      stroke(dashed ? "bar dashed" : "bar", path([...edges].map((x) => [[x, line.staff_top], [x, base]])));
    }
    const opened = line.bars.filter((bar) => bar.opens_section);
    stroke("opens", path(opened.map((bar) => [[bar.x - 3, line.staff_top], [bar.x - 3, base]])));
    if (line.drive.length) stroke("drive", path([line.drive]));
    for (const [weight, width] of Object.entries(SUSTAIN)) {
      const held = line.sustains.filter((each) => each.weight === Number(weight));
      stroke("light", path(held.map((each) => [[each.x, line.light_y], [each.to_x, line.light_y]])), { "stroke-width": width });
    }
    stroke(
      "light",
      path(
        line.hairpins.flatMap((pin) =>
          [-1, 1].map(
            /** @returns {Point[]} */
            (way) => [
              [pin.x, line.light_y + way * line.light_half * pin.from_open],
              [pin.to_x, line.light_y + way * line.light_half * pin.to_open],
            ],
          ),
        ),
      ),
      { "stroke-width": 1.1 },
    );
    for (const mark of line.marks) {
      for (const each of signs[mark.kind]) {
        /** @type {Point[]} */
        const points = each.points.map(([x, y]) => [mark.x + x, line.light_y + y]);
        const shape = { "stroke-width": each.width, ...(mark.cue ? { "data-cue": mark.cue } : {}) };
        stroke(each.filled ? "sign filled" : "sign", path([points], each.closed), shape);
      }
    }
    stroke("leader", path(line.leaders.map(([x, top, low]) => [[x, top], [x, low]])));
    made.push(...this.#words(line.words, status));
    const group = svg("g", { transform: `translate(${line.x} ${line.y})` });
    group.append(...made);
    return [group];
  }

  /**
   * @param {Words[]} words
   * @param {Map<string, string>} status
   */
  #words(words, status) {
    return words.map((each) => {
      const made = svg("text", {
        x: each.x,
        y: each.y,
        "font-size": each.size,
        class: `words ${each.role}${each.bold ? " bold" : ""}${each.italic ? " italic" : ""} ${(each.cue && status.get(each.cue)) ?? ""}`,
        ...(each.anchor === "start" ? {} : { "text-anchor": each.anchor }),
        ...(each.cue ? { "data-cue": each.cue } : {}),
      });
      // The number apart, so that it can be heavier without making the words wider than they were measured.
      const cut = each.cue ? each.text.indexOf(" ") : 0;
      const number = svg("tspan");
      number.textContent = each.text.slice(0, cut);
      made.append(number, each.text.slice(cut));
      return made;
    });
  }

  /**
   * @param {MouseEvent} event
   * @param {(seconds: number) => void} bar
   */
  #pressedAt(event, bar) {
    if (!this.#chart) return;
    const box = this.#svg.getBoundingClientRect();
    const x = (event.clientX - box.left) / this.scale - EDGE;
    const y = (event.clientY - box.top) / this.scale;
    const line = this.#chart.lines.find((each) => y >= each.y && y < each.y + each.height && x >= each.x && x < each.x + each.width);
    const found = line?.bars.find((each) => x - line.x >= each.x && x - line.x < each.x + each.width);
    if (found) bar(found.start);
  }

  /**
   * Units of width that the window has room for at a scale, the chart's own edges left out.
   *
   * @param {number} scale
   */
  widthIn(scale) {
    return Math.floor((this.#element.clientWidth - 16) / scale) - 2 * EDGE;
  }

  /** Whether the whole chart stands in the window. */
  get fits() {
    return this.#bottom * this.scale <= this.#element.clientHeight - 16;
  }

  /**
   * How many times its own size the chart may have, so that it still stands in the window with all its words. What has
   * to be scrolled anyway is large enough to read.
   *
   * @param {boolean} fits whether it stands in the window at its own size
   * @param {boolean} wider whether its bars were asked to be wider than they have to be: then it is as large as goes
   */
  roomFor(fits, wider) {
    if (!this.#chart) return 1;
    const { clientHeight, clientWidth } = this.#element;
    const high = wider ? LARGEST : fits ? (clientHeight - 16) / this.#bottom : READABLE;
    const wide = (clientWidth - 16) / (NARROWEST[this.#chart.bars_per_line] + 2 * EDGE);
    return Math.max(1, Math.min(high, wide, LARGEST));
  }

  /**
   * The bar that sounds at a time, and its line; or null where nothing is written.
   *
   * @param {number} seconds
   */
  barAt(seconds) {
    for (const line of this.#chart?.lines ?? []) {
      for (const bar of line.bars) if (seconds >= bar.start - 0.005 && seconds < bar.end - 0.005) return { line, bar };
    }
    return null;
  }

  /**
   * Where a time stands, or null where nothing is written.
   *
   * @param {number} seconds
   */
  find(seconds) {
    const found = this.barAt(seconds);
    if (!found) return null;
    const { line, bar } = found;
    return { line, x: line.x + bar.x + (Math.max(0, seconds - bar.start) / (bar.end - bar.start)) * bar.width };
  }

  /**
   * Where the bars between two times stand on each line.
   *
   * @param {number} start
   * @param {number} end
   */
  linesBetween(start, end) {
    return (this.#chart?.lines ?? []).flatMap((line) => {
      const bars = line.bars.filter((bar) => bar.start >= start - 0.005 && bar.start < end - 0.005);
      const last = bars.at(-1);
      return last ? [{ line, x: line.x + bars[0].x, to: line.x + last.x + last.width }] : [];
    });
  }

  /**
   * Mark the place that is heard, and keep it on the screen if `follow`.
   *
   * @param {number} seconds
   * @param {boolean} follow
   */
  mark(seconds, follow) {
    this.#at = seconds;
    const found = this.find(seconds);
    this.#mark.setAttribute("visibility", found ? "visible" : "hidden");
    if (!found) return;
    const { line, x } = found;
    this.#mark.setAttribute("d", `M${x.toFixed(1)} ${line.y + line.staff_top - 4}V${line.y + line.light_y + 8}`);
    if (follow) this.#keepInSight(line);
  }

  /**
   * Bring the line of a time onto the screen.
   *
   * @param {number} seconds
   */
  reveal(seconds) {
    const found = this.barAt(seconds);
    if (found) this.#keepInSight(found.line);
  }

  /**
   * Show what goes round; without an end, where it begins.
   *
   * @param {{start: number, end: number | null} | null} stretch
   */
  showRound(stretch) {
    if (stretch?.start === this.#goesRound?.start && stretch?.end === this.#goesRound?.end) return;
    this.#goesRound = stretch;
    this.#drawRound();
  }

  #drawRound() {
    const stretch = this.#goesRound;
    this.#round.replaceChildren(...(stretch && this.#chart ? repeatSigns(this.#chart, stretch.start, stretch.end) : []));
  }

  /** @param {ChartLine} line */
  #keepInSight(line) {
    const box = this.#element.getBoundingClientRect();
    const top = this.#svg.getBoundingClientRect().top + line.y * this.scale;
    if (top < box.top || top + line.height * this.scale > box.bottom - 4) {
      const way = matchMedia("(prefers-reduced-motion: reduce)").matches ? "auto" : "smooth";
      this.#element.scrollTo({ top: this.#element.scrollTop + top - box.top - 0.2 * box.height, behavior: way });
    }
  }

  /**
   * Show which cue is meant; `reveal` brings its line onto the screen.
   *
   * @param {string | null} id
   * @param {boolean} reveal
   */
  choose(id, reveal) {
    for (const before of this.#svg.querySelectorAll(".chosen")) before.classList.remove("chosen");
    const drawn = id === null ? [] : [...this.#svg.querySelectorAll(`[data-cue="${CSS.escape(id)}"]`)];
    const words = drawn.find((each) => each instanceof SVGTextElement);
    const line = this.#chart?.lines.find((each) => each.words.some((one) => one.cue === id));
    this.#spot.setAttribute("visibility", words && line ? "visible" : "hidden");
    if (!words || !line) return;
    for (const each of drawn) each.classList.add("chosen");
    const box = words.getBBox();
    const spot = { x: line.x + box.x - 3, y: line.y + box.y - 1, width: box.width + 6, height: box.height + 2 };
    for (const [name, value] of Object.entries(spot)) this.#spot.setAttribute(name, String(value));
    if (reveal) this.#keepInSight(line);
  }
}

/**
 * The legend of the signs, for the help: one row a sign.
 *
 * @param {Chart} chart
 */
export function legend(chart) {
  /** @type {Record<string, Point[][]>} */
  const lines = {
    hairpin: [[[-11, 0], [0, -4]], [[-11, 0], [0, 4]], [[2, -4], [13, 0]], [[2, 4], [13, 0]]],
    sustain: [[[-11, 0], [11, 0]]],
    dashed: [[[0, -7], [0, 6]]],
    drive: [[[-12, 4], [-6, 4], [0, 0], [6, -4], [12, -3]]],
  };
  /** @type {Record<string, string>} */
  const kinds = { dashed: "bar dashed", drive: "drive" };
  return chart.legend.map((item) => {
    const picture = svg("svg", { width: 34, height: 18, viewBox: "-17 -9 34 18", "aria-hidden": "true" });
    if (item.sign === "letters") {
      const text = svg("text", { class: "words dynamic bold italic", "text-anchor": "middle", y: 4, "font-size": 12 });
      text.textContent = item.shown;
      picture.append(text);
    } else if (lines[item.sign]) {
      const kind = kinds[item.sign] ?? "light";
      picture.append(svg("path", { class: kind, d: path(lines[item.sign]), "stroke-width": item.sign === "sustain" ? 2 : 1.1 }));
    } else {
      for (const each of chart.signs[item.sign]) {
        picture.append(svg("path", { class: each.filled ? "sign filled" : "sign", d: path([each.points], each.closed), "stroke-width": each.width }));
      }
    }
    return el("li", {}, picture, item.words.text);
  });
}

/**
 * What the short words of the chart mean, for the help.
 *
 * @param {Chart} chart
 */
export const key = (chart) => chart.key.map((each) => el("li", {}, el("b", {}, each.short.text), ` ${each.meaning.text}`));
