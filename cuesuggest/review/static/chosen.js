// @ts-check
import { keepChosen, Refused } from "./api.js";

/** @import { Chosen } from "./content.js" */

/** Steps of loudness, in percent; each is heard as about as much softer. */
const STEPS = [0, 10, 20, 35, 50, 70, 100];

/** What is chosen about the page, kept on this machine for every song. Event: "change". */
export class Choices extends EventTarget {
  /** @type {Chosen | null} */
  #now = null;
  /** @type {Chosen | null} */
  #sent = null;
  #kept = Promise.resolve();

  get now() {
    return this.#now ?? { bars: 16, song: 100, click: 50, controls: {}, late: null };
  }

  /**
   * What was kept before counts once; after that, what is chosen here.
   *
   * @param {Chosen} kept
   */
  start(kept) {
    if (this.#now) return;
    this.#now = kept;
    this.dispatchEvent(new Event("change"));
  }

  /** @param {Partial<Chosen>} changes */
  set(changes) {
    this.#now = { ...this.now, ...changes };
    this.dispatchEvent(new Event("change"));
    this.#kept = this.#kept.then(() => this.#keep());
  }

  /** One after the other, what is chosen by then: sent side by side, an earlier choice may be the one that stays. */
  async #keep() {
    const chosen = this.now;
    if (chosen === this.#sent) return;
    this.#sent = chosen;
    try {
      await keepChosen(chosen);
    } catch (error) {
      // That it is not kept hurts nothing; whether the program has gone is told with the next thing that is done.
      if (!(error instanceof Refused)) throw error;
    }
  }

  /**
   * Song or click a step louder or softer.
   *
   * @param {"song" | "click"} what
   * @param {1 | -1} way
   */
  louder(what, way) {
    const now = this.now[what];
    const to = way > 0 ? STEPS.find((each) => each > now) : STEPS.findLast((each) => each < now);
    if (to !== undefined) this.set({ [what]: to });
  }
}
