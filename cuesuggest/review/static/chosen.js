// @ts-check
import { keepChosen, Refused } from "./api.js";

/** @import { Chosen } from "./content.js" */

/** Steps of loudness, in percent; each is heard as about as much softer. */
const STEPS = [0, 10, 20, 35, 50, 70, 100];

/** What is chosen about the page, kept on this machine for every song. Event: "change". */
export class Choices extends EventTarget {
  /** @type {Chosen | null} */
  #now = null;

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
    // That it is not kept hurts nothing; whether the program has gone is told with the next thing that is done.
    keepChosen(this.#now).catch((error) => {
      if (!(error instanceof Refused)) throw error;
    });
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
