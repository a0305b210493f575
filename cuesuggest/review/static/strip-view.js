// @ts-check
import { el, find } from "./dom.js";
import { COMMANDS, shown } from "./keys.js";

/** @import { Hand } from "./hand.js" */
/** @import { Player } from "./player.js" */
/** @import { Store } from "./store.js" */

// What is on the screen whatever is open below the chart: listening on the left, deciding on the right.
const LISTENING = ["play", "bar-back", "bar-on", "loop-here", "cue-back", "cue-on"];
const SONGS = ["song-before", "songs", "song-after"]; // only where there are several
const DECIDING = ["undo", "add", "leave", "export", "help"];

/**
 * The line under the desk. Its buttons stay the same elements, so that a press is never lost to a new drawing.
 */
export class StripView {
  #element;
  #store;
  #player;
  #hand;
  /** @type {Map<string, {button: HTMLButtonElement, words: HTMLElement}>} */
  #buttons = new Map();

  /**
   * @param {HTMLElement} element
   * @param {Store} store
   * @param {Player} player
   * @param {Hand} hand
   */
  constructor(element, store, player, hand) {
    this.#element = element;
    this.#store = store;
    this.#player = player;
    this.#hand = hand;
    for (const ids of [LISTENING, SONGS, DECIDING]) element.append(el("div", ids === SONGS ? { class: "keys songs", role: "group", "aria-label": "Songs" } : { class: "keys" }, ...ids.map((id) => this.#made(id))));
    for (const source of [hand, player]) source.addEventListener("change", () => this.#draw());
    store.addEventListener("song", () => this.#draw());
  }

  /** @param {string} id of a command */
  #made(id) {
    const key = COMMANDS.find((each) => each.id === id)?.keys[0] ?? "Escape"; // "leave" has no key of its own in the table
    const words = el("span");
    const button = el("button", { type: "button", "data-do": id }, el("kbd", {}, shown(key)), " ", words);
    this.#buttons.set(id, { button, words });
    return button;
  }

  #draw() {
    if (!this.#store.there) return;
    const { mode, question, cue } = this.#hand.now;
    const { loop, from, playing } = this.#player;
    const { number, of, before, after } = this.#store.page.evening;
    /** @type {Record<string, string>} */
    const said = {
      play: playing ? "pause" : "play",
      "bar-back": "bar back",
      "bar-on": "bar on",
      "loop-here": loop ? "loop no more" : from ? "loop to here" : "loop from here",
      "cue-back": "cue before",
      "cue-on": "next cue",
      "song-before": "song before",
      songs: `${number} of ${of}`,
      "song-after": "next song",
      undo: "undo",
      add: "add a cue",
      leave: "leave",
      export: "export",
      help: "all acts",
    };
    find(".songs", HTMLElement, this.#element).hidden = of === 1;
    this.#buttons.get("songs")?.button.setAttribute("aria-label", `${number} of ${of}: all songs`);
    const idle = { "song-before": before === null, "song-after": after === null, undo: this.#store.settled && this.#store.page.undo === null, leave: !mode && !question && !cue };
    for (const [id, { button, words }] of this.#buttons) {
      if (words.textContent !== said[id]) words.textContent = said[id];
      button.disabled = id in idle && idle[/** @type {keyof typeof idle} */ (id)];
    }
  }
}
