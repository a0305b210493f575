// @ts-check
/** Which control of a MIDI controller is which of the hand's, learned by moving it; and what its messages mean. Pure. */

const QUIET = 0.3; // s without a message after which a fader begins to move anew
const HALF = 64;

/** @typedef {{name: string, what: "learned" | "down" | "up"}} Heard */

export class MidiHands {
  /** @type {Record<string, string>} control by name */
  controls;
  /** What the next control that is moved will be, or null. @type {string | null} */
  learning = null;
  /** @type {Map<string, {at: number, value: number}>} by control */
  #last = new Map();

  /** @param {Record<string, string>} controls as they were learned before */
  constructor(controls) {
    this.controls = { ...controls };
  }

  /**
   * What a message means: a control was learned, a fader begins to move, a button goes down or up; null for others.
   *
   * @param {Uint8Array} data
   * @param {number} now seconds
   * @returns {Heard | null}
   */
  take(data, now) {
    const found = controlIn(data);
    if (!found) return null;
    const { control, value } = found;
    const last = this.#last.get(control);
    this.#last.set(control, { at: now, value });
    if (this.learning !== null) return this.#learned(control, value);
    const name = Object.keys(this.controls).find((each) => this.controls[each] === control);
    if (name === undefined) return null;
    if (!control.startsWith("note") && name.startsWith("side ")) return last && now - last.at < QUIET ? null : { name, what: "down" };
    const [down, was] = [value >= (control.startsWith("note") ? 1 : HALF), (last?.value ?? 0) >= (control.startsWith("note") ? 1 : HALF)];
    return down === was ? null : { name, what: down ? "down" : "up" };
  }

  /**
   * @param {string} control
   * @param {number} value
   * @returns {Heard | null}
   */
  #learned(control, value) {
    const name = this.learning;
    // A key that comes up again was learned with the name before.
    if (name === null || (control.startsWith("note") && value === 0)) return null;
    // A fader sends as long as it moves: what belongs to one name is not taken for the next by the same gesture.
    if (control === this.#lately) return null;
    const others = Object.entries(this.controls).filter(([each, of]) => each !== name && of !== control);
    this.controls = { ...Object.fromEntries(others), [name]: control };
    this.#lately = control;
    this.learning = null;
    return { name, what: "learned" };
  }

  /** @type {string | null} the control that was learned last */
  #lately = null;

  /** Learn a name by the next control that is moved. @param {string} name @param {boolean} anew whether it may be the one that was learned last */
  learn(name, anew) {
    this.learning = name;
    if (anew) this.#lately = null;
  }
}

/** @param {Uint8Array} data */
function controlIn([status = 0, first = 0, second = 0]) {
  const channel = (status & 15) + 1;
  switch (status & 0xf0) {
    case 0x80:
      return { control: `note ${channel} ${first}`, value: 0 };
    case 0x90:
      return { control: `note ${channel} ${first}`, value: second };
    case 0xb0:
      return { control: `cc ${channel} ${first}`, value: second };
    case 0xe0:
      return { control: `bend ${channel}`, value: second };
    default:
      return null;
  }
}
