// @ts-check
/**
 * @typedef {object} State
 * @property {string | null} cue id of the cue that keys are about
 * @property {"" | "section" | "music" | "ends" | "sound" | "tap" | "press" | "late" | "pressed"} mode "" in the chart; a menu; while tapping; while pressing along, measuring how late that is, and looking at what was pressed
 * @property {string | null} question id of the question that is shown
 * @property {Set<string>} passed ids of questions that were passed over
 * @property {boolean} hereOn whether what is said about the music counts from the bar that is heard on
 * @property {boolean} repeats whether what is said about a section counts for every pass of it
 * @property {boolean} passes whether a section's light is changed in all its passes
 * @property {number} patch 0 no light, 1 light, 2 also one-shots that come faster than three a second
 * @property {number[]} taps times of taps
 */

// Whatever a menu is opened for counts for what is shown, until something else is said there.
const NARROW = { hereOn: false, repeats: false, passes: false };

/**
 * Where the hand is: the cue that is meant, the menu that is open, the question that is asked. Event: "change".
 */
export class Hand extends EventTarget {
  /** @type {State} */
  #state = {
    cue: null,
    mode: "",
    question: null,
    passed: new Set(),
    ...NARROW,
    patch: 0,
    taps: [],
  };

  get now() {
    return this.#state;
  }

  /** @param {Partial<State>} changes */
  set(changes) {
    const { mode } = this.#state;
    const turned = changes.mode !== undefined && changes.mode !== mode && changes.mode !== "tap" && mode !== "tap";
    Object.assign(this.#state, turned ? NARROW : {}, changes);
    this.dispatchEvent(new Event("change"));
  }
}
