/**
 * Where the hand is: the cue that is meant, the menu that is open, the question that is asked. Event: "change".
 */
export class Hand extends EventTarget {
  #state = {
    /** Id of the cue that keys are about. */
    cue: null,
    /** "" in the chart, "section" or "music" in a menu, "tap" while tapping. */
    mode: "",
    /** Id of the question that is shown. */
    question: null,
    /** Ids of questions that were passed over. */
    passed: new Set(),
    /** Whether what is said about the music counts from the bar that is heard on. */
    hereOn: false,
    /** Whether a section's start moves in all its repeats. */
    repeats: true,
    /** Whether a section's light is changed in all its passes. */
    passes: false,
    /** 0 no light, 1 light, 2 also one-shots that come faster than three a second. */
    patch: 0,
    /** Times of taps. */
    taps: [],
  };

  get now() {
    return this.#state;
  }

  set(changes) {
    Object.assign(this.#state, changes);
    this.dispatchEvent(new Event("change"));
  }
}
