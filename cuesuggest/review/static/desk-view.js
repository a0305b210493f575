// @ts-check
import { nextCue, until } from "./coming.js";
import { arrange, el, find, listen, update } from "./dom.js";
import { COMMANDS, shown } from "./keys.js";
import { clock, placeAt } from "./places.js";
import { soundMenu } from "./sound-view.js";

/** @import { Choices } from "./chosen.js" */
/** @import { Cue, Page, Question, Told } from "./content.js" */
/** @import { Hand } from "./hand.js" */
/** @import { Command } from "./keys.js" */
/** @import { Player } from "./player.js" */
/** @import { Store } from "./store.js" */

const STATUS = { suggested: "suggested", accepted: "accepted", edited: "edited", rejected: "left out", added: "added" };
const CUE_KEYS = ["accept", "reject", "edit", "earlier", "later", "shorter", "longer", "darker", "brighter", "copy", "colours", "lock", "note", "hear-cue"];
const FADES = new Set(["fade-in", "fade-out", "crossfade", "ramp"]);
const PLAIN_KEYS = ["press-along", "click", "patch", "loop-section", "slower", "faster", "sound", "one-shot", "dark", "section", "music", "accept-section", "accept-all", "list", "through"];

/** The desk below the chart: the place that is heard, what keys are about now, and what was done last. */
export class DeskView {
  element;
  #store;
  #player;
  #hand;
  #choices;
  /** @type {Told | null} */
  #told = null;
  #shownPlace = "";
  /** What others show about a mode of theirs; the same elements stay. @type {Record<string, () => HTMLElement[]>} */
  slips = {};

  /**
   * @param {HTMLElement} element
   * @param {Store} store
   * @param {Player} player
   * @param {Hand} hand
   * @param {Choices} choices
   */
  constructor(element, store, player, hand, choices) {
    this.element = element;
    this.#store = store;
    this.#player = player;
    this.#hand = hand;
    this.#choices = choices;
    this.#part("#told").setAttribute("role", "status");
    store.addEventListener("song", () => this.draw());
    for (const source of [hand, player, choices]) source.addEventListener("change", () => this.draw());
    listen(store, "told", (/** @type {Told} */ told) => this.tell(told));
    listen(player, "problem", (/** @type {string} */ said) => this.tell({ said, lines: [], remarks: [], wrong: true }));
  }

  /**
   * Say what was done, or what went wrong.
   *
   * @param {Told} told
   */
  tell(told) {
    this.#told = told;
    this.#drawTold();
  }

  draw() {
    if (!this.#store.there) return;
    this.#shownPlace = "";
    this.place();
    const own = this.slips[this.#hand.now.mode];
    if (own) arrange(this.#part("#slip"), own());
    else update(this.#part("#slip"), this.#about());
    this.#drawTold();
  }

  /** @param {string} selector */
  #part(selector) {
    return find(selector, HTMLElement, this.element);
  }

  /** The place that is heard, to the beat; called on every picture, so it only writes what has changed. */
  place() {
    const page = this.#store.page;
    const { bar, beat, section, inSection, of } = placeAt(page.music, this.#player.seconds);
    const counted = bar === null ? "" : String(inSection ?? bar);
    const whole = bar === null ? "no bars here" : [inSection ? `bar ${bar}` : "", clock(this.#player.seconds)].filter(Boolean).join(" · ");
    const lines = [
      section ? `${section.label}${section.pass}` : "",
      counted,
      inSection ? `of ${of}` : "",
      bar === null ? "" : String(beat),
      [section?.name, whole].filter(Boolean).join(" · "),
      this.#coming(page),
    ];
    const flags = [
      page.no_sound ? "no sound" : this.#player.playing ? "playing" : "paused",
      this.#player.rate < 1 ? `${this.#player.rate} ×` : "",
      this.#player.loop ? `round ${this.#player.loop.name}` : this.#player.from ? `round from ${this.#player.from.name} to …` : "",
      this.#player.click ? (this.#player.reading ? "click as in the answer" : "click") : "",
    ].filter(Boolean);
    const text = JSON.stringify([lines, flags]);
    if (text === this.#shownPlace) return;
    this.#shownPlace = text;
    this.#part("#place").replaceChildren(
      el(
        "div",
        { class: "where" },
        el("span", {}, lines[0]),
        el("span", { class: "small" }, counted && "bar"),
        el("span", { class: "counted" }, counted || clock(this.#player.seconds)),
        el("span", { class: "small" }, lines[2]),
        el("span", { class: "beat" }, lines[3]),
      ),
      el("div", { class: "small" }, lines[4]),
      el("div", { class: "small", id: "state" }, flags.join(" · ")),
      el("div", { id: "coming" }, lines[5]),
    );
  }

  /**
   * What the hand does next, and how long until then.
   *
   * @param {Page} page
   */
  #coming(page) {
    const { seconds } = this.#player;
    const next = nextCue(page.cues, seconds);
    return next ? `${until(page.music, seconds, next.seconds)}: cue ${next.number}, ${next.action}` : "";
  }

  #about() {
    const { mode, question, cue } = this.#hand.now;
    if (mode === "tap") return this.#tapping();
    if (mode === "sound") return this.#sound();
    if (mode === "section" || mode === "music" || mode === "ends") return this.#menu(mode);
    const asked = this.#store.page.questions.find((each) => each.id === question);
    if (asked) return this.#question(asked);
    const meant = this.#store.cue(cue);
    return meant ? this.#cue(meant) : this.#section();
  }

  /** @param {Question} asked */
  #question(asked) {
    const all = this.#store.page.questions;
    const count = `Question ${all.indexOf(asked) + 1} of ${all.length}`;
    const hang = `${asked.cues} cue${asked.cues === 1 ? " hangs" : "s hang"} on it`;
    return [
      el("p", { class: "small" }, `${count} · ${hang}`),
      el("p", { class: "what" }, asked.text),
      el(
        "div",
        { class: "keys" },
        this.#button("Q", "listen", "listen"),
        ...this.#clicks(asked),
        ...asked.answers.map((each, index) => this.#button(String(index + 1), each.label, `answer:${each.id}`)),
        this.#button("Esc", "later", "leave"),
      ),
      el(
        "p",
        { class: "because" },
        asked.answers.some((each) => each.at !== null) ? "The numbers on the chart show where each answer points; press one to hear it." : "",
      ),
    ];
  }

  /**
   * Each answer that sounds otherwise can be heard with a click before it is given.
   *
   * @param {Question} asked
   */
  #clicks(asked) {
    const heard = asked.answers.filter((each) => each.reading !== null);
    if (heard.length < 2) return [];
    const now = heard.findIndex((each) => this.#player.loop?.name === `answer ${each.id + 1}`);
    const next = heard[now + 1];
    return [this.#button("K", next ? `hear ${next.id + 1}: ${next.label}` : "no click", "click")];
  }

  /** @param {Cue} cue */
  #cue(cue) {
    const status = [STATUS[cue.status], cue.lock ? "locked" : "", cue.who === "operator" ? "" : `for ${cue.who}`];
    const how = cue.kind === "call" ? "" : `${cue.trigger}, ${cue.anchor === "lands-on" ? "lands here" : "starts here"}${cue.by_itself ? ", by itself where a machine plays" : ""}`;
    const doubt = cue.confidence < 0.5 ? "unsure" : "";
    const look = this.#store.page.looks.find((each) => each.id === cue.look);
    const colours = look ? `${look.name}: ${look.colours} colour${look.colours === 1 ? "" : "s"} (${look.colour_relation})` : "";
    return [
      el(
        "p",
        { class: "small" },
        `Cue ${cue.number} · ${cue.where} · ${cue.clock} · `,
        el("strong", { id: "status" }, status.filter(Boolean).join(", ")),
        [how, doubt].filter(Boolean).map((each) => ` · ${each}`).join(""),
      ),
      el("p", { class: "what" }, cue.hand),
      el("p", { class: "because" }, [cue.reasons.join(" "), colours, ...cue.cautions.map((each) => `Take care: ${each}`), cue.note ? `Note: ${cue.note}` : ""].filter(Boolean).join(" · ")),
      this.#keys(CUE_KEYS.filter((id) => (id === "colours" ? look : FADES.has(cue.kind) || !["shorter", "longer"].includes(id)))),
    ];
  }

  #section() {
    const { section } = placeAt(this.#store.page.music, this.#player.seconds);
    const round = section?.vamp ? `round until ${section.vamp}; ` : "";
    const light = section?.category ? `${section.category}${section.level ? ` at ${section.level} %` : ""}` : "";
    return [
      el("p", { class: "small" }, section ? `${section.label}${section.pass} ${section.name}` : "Outside the sections"),
      el("p", { class: "what" }, light || "Space plays, arrows lead from bar to bar and from cue to cue."),
      el("p", { class: "because" }, section ? round + section.why.join(" ") : ""),
      this.#keys(PLAIN_KEYS),
    ];
  }

  /** @param {"section" | "music" | "ends"} mode */
  #menu(mode) {
    const { hereOn, repeats, passes } = this.#hand.now;
    const place = placeAt(this.#store.page.music, this.#player.seconds);
    const name = place.section ? `${place.section.label}${place.section.pass}` : "no section";
    const { recording, music } = this.#store.page;
    const title = {
      section: `Light of ${passes ? `every ${place.section?.label}` : name}`,
      music: `Music at bar ${place.bar ?? "–"}, ${name}`,
      ends: `The song is ${clock(music.start)} to ${clock(music.end)} of ${recording.name}, which lasts ${clock(recording.seconds)}. “Here” is ${clock(this.#player.seconds)}.`,
    }[mode];
    /** Scopes say what counts now. @type {Record<string, string>} */
    const scopes = {
      passes: passes ? `for every ${place.section?.label ?? "pass"}` : `for ${name} only`,
      repeats: repeats ? `section keys: every ${place.section?.label ?? "pass"}` : `section keys: ${name} only`,
      "here-on": hereOn ? `beats and bars: from bar ${place.bar ?? "–"} on` : "beats and bars: whole song",
    };
    const inMenu = COMMANDS.filter((each) => each.when === mode);
    return [
      el("p", { class: "small" }, title),
      el("div", { class: "keys menu" }, ...inMenu.map((each) => this.#command(scopes[each.id] ? { ...each, label: scopes[each.id] } : each)), this.#button("Esc", "back", "leave")),
    ];
  }

  #sound() {
    const bars = this.#store.page.chart.bars_per_line;
    const button = (/** @type {string} */ id, /** @type {string} */ words) => {
      const key = COMMANDS.find((each) => each.id === id)?.keys[0] ?? "";
      return this.#button(shown(key), words, id);
    };
    return [soundMenu(this.#player, this.#choices.now, bars, button), el("div", { class: "keys" }, this.#button("Esc", "back", "leave"))];
  }

  #tapping() {
    const count = this.#hand.now.taps.length;
    return [
      el("p", { class: "small" }, "Tap along"),
      el("p", { class: "what" }, this.#player.playing ? "Tap T on every beat, the first on the 1 of a bar." : "The song is paused and takes no taps. Space plays on."),
      el("p", { class: "because", id: "taps" }, `${count} tap${count === 1 ? "" : "s"}`),
      el("div", { class: "keys" }, this.#button("T", "tap", "tap-beat"), this.#button("Enter", "done", "tap-done"), this.#button("Esc", "leave it", "leave")),
    ];
  }

  /** @param {string[]} ids of commands */
  #keys(ids) {
    const named = ids.flatMap((id) => COMMANDS.filter((each) => each.id === id));
    return el("div", { class: "keys" }, ...named.map((each) => this.#command(each)));
  }

  /** @param {Command} command */
  #command({ id, keys, label }) {
    return this.#button(shown(keys[0]), label, id);
  }

  /**
   * @param {string} key
   * @param {string} label
   * @param {string} id
   */
  #button(key, label, id) {
    return el("button", { type: "button", "data-do": id }, el("kbd", {}, key), ` ${label}`);
  }

  #drawTold() {
    const page = this.#store.there ? this.#store.page : null;
    const told = this.#told;
    const open = page?.questions.filter((each) => !this.#hand.now.passed.has(each.id)).length ?? 0;
    const left = page ? page.cues.filter((cue) => cue.status === "suggested").length : 0;
    const state = [
      page?.questions.length ? (open ? `${open} question${open === 1 ? "" : "s"} open` : `${page.questions.length} question${page.questions.length === 1 ? "" : "s"} passed over: Q asks again`) : "no question open",
      page?.cues.length ? (left ? `${left} of ${page.cues.length} cues undecided` : "every cue decided") : "no cues",
    ];
    update(this.#part("#told"), [
      el("div", { id: "light", hidden: this.#hand.now.patch === 0 }),
      el("p", { class: "small" }, state.filter(Boolean).join(" · ")),
      ...(told ? [el("p", { class: told.wrong ? "wrong" : "said" }, told.said), ...[...told.remarks, ...told.lines].map((each) => el("p", { class: "line" }, each))] : []),
      ...(page?.no_sound ? [el("p", { class: "wrong" }, page.no_sound)] : []),
    ]);
  }
}
