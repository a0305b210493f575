// @ts-check
import { COMMANDS } from "./keys.js";

/** @import { Store } from "./store.js" */

// What may be done while the song is worked on: listening and looking, since neither changes it.
const LISTENING = new Set(COMMANDS.filter((each) => each.group === "Listen" || each.when === "press" || each.when === "late").map((each) => each.id));
const LOOKING = new Set(["press-along", "pressed-on", "pressed-back", "pressed-at", "pressed-more", "help", "list", "songs", "sound-check", "leave", "scheme", "patch", "listen", "hear", "tap-beat"]);

/** Whether a command changes nothing in the song. @param {string} id */
export const changesNothing = (id) => LISTENING.has(id) || LOOKING.has(id);

/**
 * Keys that change the song wait while it is heard anew, and are done in their order afterwards. They were meant for
 * the song as it will be then; where the work is refused, they are dropped.
 */
export class Held {
  #store;
  /** @type {(() => void)[]} */
  #waiting = [];

  /** @param {Store} store */
  constructor(store) {
    this.#store = store;
    store.addEventListener("busy", () => !store.busy && this.#release());
  }

  /** How many keys wait. */
  get count() {
    return this.#waiting.length;
  }

  /** @param {() => void} work */
  hold(work) {
    this.#waiting.push(work);
    this.#store.dispatchEvent(new Event("busy"));
  }

  /** Whatever waits is not done. */
  drop() {
    this.#waiting = [];
  }

  #release() {
    // What opens a dialog ends it: the keys after it may have been meant as text.
    while (this.#waiting.length && !this.#store.busy && !document.querySelector("dialog[open]")) this.#waiting.shift()?.();
    if (!this.#store.busy) this.drop();
  }
}
