// @ts-check
/** Presses while the song plays, by the sound's own clock. Pure: times in, times out. */

/** @typedef {"rest" | "subtle" | "lift" | "intense"} Category */
/** @typedef {Category | "hit" | "note"} Kind */
/** @typedef {{at: number, kind: Kind}} Press for which seconds of the recording */
/** @typedef {{until: number, presses: Press[]}} Run what was pressed from one jump to the next */

/** In the order of their keys. @type {Category[]} */
export const CATEGORIES = ["rest", "subtle", "lift", "intense"];

const WINDOW = 500; // ms of readings that count
const BROKEN = 0.08; // s; a clock that is read so far from where it was has stood still, or more: it is read anew
const ELSEWHERE = 0.3; // s; so far from where it was the song has jumped

/**
 * A player's clock, read between its own steps: browsers move it on only now and then, and a key is dealt with later
 * than it was pressed. Each reading says by how much the player is ahead of the machine's clock; the middle one counts.
 */
export class SoundClock {
  /** @type {{now: number, ahead: number}[]} */
  #reads = [];
  #rate = 1;

  /**
   * Read it.
   *
   * @param {number} now ms by the machine
   * @param {number} seconds of the sound
   * @param {number} rate how fast it plays
   * @returns {boolean} whether it has gone on since the last reading without a jump
   */
  read(now, seconds, rate) {
    const ahead = seconds - (rate * now) / 1000;
    const known = this.#reads.length > 0 && rate === this.#rate;
    const off = known ? Math.abs(ahead - this.#middle()) : Number.POSITIVE_INFINITY;
    this.#rate = rate;
    this.#reads = off < BROKEN ? this.#reads.filter((each) => now - each.now <= WINDOW) : [];
    this.#reads.push({ now, ahead });
    return off < ELSEWHERE;
  }

  /**
   * Seconds of the sound at a moment.
   *
   * @param {number} moment ms by the machine
   */
  at(moment) {
    return this.#middle() + (this.#rate * moment) / 1000;
  }

  #middle() {
    const all = this.#reads.map((each) => each.ahead).sort((a, b) => a - b);
    return all.length ? (all[(all.length - 1) >> 1] + all[all.length >> 1]) / 2 : 0;
  }
}

/** One pass through the song, or several: what was pressed in each run from one jump to the next. */
export class Pass {
  /** @type {Run[]} */
  #runs = [];

  /**
   * The song has been heard up to here.
   *
   * @param {number} seconds
   * @param {boolean} on whether it came here without a jump
   */
  heard(seconds, on) {
    const run = this.#runs.at(-1);
    if (!run || (!on && Math.abs(seconds - run.until) > ELSEWHERE)) this.#runs.push({ until: seconds, presses: [] });
    else run.until = Math.max(run.until, seconds);
  }

  /**
   * @param {number} at
   * @param {Kind} kind
   */
  press(at, kind) {
    const time = Math.max(0, Math.round(at * 1e4) / 1e4);
    this.heard(time, true);
    this.#runs.at(-1)?.presses.push({ at: time, kind });
  }

  /** Take back the press that came last; false where there is none. */
  back() {
    return this.#runs.findLast((run) => run.presses.length)?.presses.pop() !== undefined;
  }

  get presses() {
    return this.#runs.flatMap((run) => run.presses);
  }

  /** The category that was pressed last in this run, or null. @returns {Category | null} */
  get held() {
    const kinds = this.#runs.at(-1)?.presses.map((press) => press.kind) ?? [];
    return CATEGORIES.find((each) => each === kinds.findLast((kind) => CATEGORIES.some((one) => one === kind))) ?? null;
  }

  /** Runs in which anything was pressed, as they are sent. */
  get runs() {
    return this.#runs.filter((run) => run.presses.length).map(({ until, presses }) => ({ until: Math.round(until * 1e4) / 1e4, presses }));
  }
}

/**
 * How late somebody presses, in words.
 *
 * @param {number | null} late ms
 */
export function lateWords(late) {
  if (late === null) return "How late you press is not measured yet; nothing is taken off.";
  if (late < 0) return `You press ${-late} ms early; that is put on.`;
  return late ? `You press ${late} ms late; that is taken off.` : "You press on the beat; nothing is taken off.";
}
