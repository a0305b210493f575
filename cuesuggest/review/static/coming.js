// @ts-check
/** What comes next, and how long until then as a musician counts. Pure: lists in, words out. */

import { barIndex, lastAt } from "./places.js";

/** @import { Cue, Music } from "./content.js" */

/**
 * The cue whose hand begins next, or null after the last.
 *
 * @param {Cue[]} cues in the order in which the hand begins them
 * @param {number} seconds
 */
export function nextCue(cues, seconds) {
  return cues.find((cue) => cue.status !== "rejected" && cue.seconds > seconds + 0.005) ?? null;
}

/**
 * "in 3 bars", in the last bar "in 2 beats"; seconds where there are no bars.
 *
 * @param {Music} music
 * @param {number} from
 * @param {number} to
 */
export function until(music, from, to) {
  const [here, there] = [barIndex(music.bars, from), barIndex(music.bars, to)];
  if (here < 0 || there < here || from > music.bars[here][2] + 0.005) return `in ${Math.ceil(to - from)} s`;
  const beats = lastAt(music.beats, to + 0.005) - lastAt(music.beats, from + 0.005);
  if (beats < 1) return "now";
  if (here === there || beats <= music.bars[here][3]) return `in ${counted(beats, "beat")}`;
  return `in ${counted(there - here, "bar")}`;
}

/**
 * "1 bar", "3 bars".
 *
 * @param {number} number
 * @param {string} thing
 * @param {string} things
 */
export const counted = (number, thing, things = `${thing}s`) => `${number} ${number === 1 ? thing : things}`;
