// @ts-check
import { lastAt } from "./places.js";

/** @import { Music } from "./content.js" */

const PAUSE = 2.5; // s after which a tap begins a new tempo
const TAPS = 5; // of which the tempo is the mean
const [SLOWEST, FASTEST] = [30, 300]; // beats a minute

/**
 * A clock without a recording: it runs through the song's own beats, in a tempo that was tapped. Event: "change".
 *
 * A song without beats runs in its own seconds.
 */
export class TappedClock extends EventTarget {
  #beats;
  #now;
  /** In beats, when it last stood or changed its tempo. */
  #position = 0;
  /** @type {number | null} when that was; null while it stands */
  #since = null;
  #tempo;
  #end;
  /** @type {number[]} */
  #taps = [];

  /**
   * @param {Music} music
   * @param {() => number} now seconds by the wall
   */
  constructor({ beats, tempo, start, end }, now = () => performance.now() / 1000) {
    super();
    this.#now = now;
    this.#end = end;
    this.counted = beats.length > 1;
    this.#beats = this.counted ? beats : [start, start + 1];
    this.#tempo = this.counted ? (tempo ?? (60 * (beats.length - 1)) / (beats[beats.length - 1] - beats[0])) : 60;
    this.seek(start);
  }

  /** Beats a minute. */
  get tempo() {
    return this.#tempo;
  }

  get playing() {
    return this.#since !== null;
  }

  get #beat() {
    return this.#position + (this.#since === null ? 0 : ((this.#now() - this.#since) * this.#tempo) / 60);
  }

  /** The beat that counts at a place; before the first and after the last they go on as there. @param {number} beat */
  #length(beat) {
    const index = Math.min(Math.max(Math.floor(beat), 0), this.#beats.length - 2);
    return { index, seconds: this.#beats[index + 1] - this.#beats[index] };
  }

  /** Of the recording, as if it ran along. */
  get seconds() {
    const beat = this.#beat;
    const { index, seconds } = this.#length(beat);
    return Math.min(this.#beats[index] + (beat - index) * seconds, this.#end);
  }

  /** How many seconds of the recording pass in one. */
  get rate() {
    return (this.#length(this.#beat).seconds * this.#tempo) / 60;
  }

  toggle() {
    this.#position = this.#beat;
    this.#since = this.playing ? null : this.#now();
    this.dispatchEvent(new Event("change"));
  }

  /** @param {number} seconds */
  seek(seconds) {
    const { index, seconds: length } = this.#length(lastAt(this.#beats, seconds));
    this.#position = index + (seconds - this.#beats[index]) / length;
    if (this.playing) this.#since = this.#now();
    this.dispatchEvent(new Event("change"));
  }

  /**
   * Take a tap on a beat. While it runs, the nearest beat is the one that was tapped.
   *
   * @returns {number} how many taps the tempo is made of by now
   */
  tap() {
    const now = this.#now();
    const last = this.#taps.at(-1);
    this.#taps = last === undefined || now - last > PAUSE ? [now] : [...this.#taps, now].slice(-TAPS);
    const count = this.#taps.length;
    if (count > 1) {
      const nearest = Math.round(this.#beat);
      this.#tempo = Math.min(Math.max((60 * (count - 1)) / (now - this.#taps[0]), SLOWEST), FASTEST);
      if (this.playing) [this.#position, this.#since] = [nearest, now];
      this.dispatchEvent(new Event("change"));
    }
    return count;
  }
}
