// @ts-check
/**
 * Bars, beats and sections by time. Pure: lists in, answers out.
 */

/** @import { ChartLine, Music, Section } from "./content.js" */

/**
 * Index of the last of `times` (rising) that is not after `seconds`; -1 before the first.
 *
 * @param {number[]} times
 * @param {number} seconds
 */
export function lastAt(times, seconds) {
  let low = 0;
  let high = times.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (times[middle] <= seconds) low = middle + 1;
    else high = middle;
  }
  return low - 1;
}

/**
 * Index of the bar sounding at `seconds`; -1 before the first. A few milliseconds early count as there.
 *
 * @param {Music["bars"]} bars
 * @param {number} seconds
 */
export function barIndex(bars, seconds) {
  return lastAt(bars.map(([, start]) => start), seconds + 0.005);
}

/**
 * The start `step` starts away; null where there is none at all. Going back from `inside` seconds after a start leads
 * to that start first.
 *
 * @param {number[]} starts rising
 * @param {number} seconds
 * @param {number} step
 * @param {number} inside
 */
function stepped(starts, seconds, step, inside) {
  const index = lastAt(starts, seconds + 0.005);
  const back = step < 0 && index >= 0 && seconds - starts[index] > inside;
  return starts[Math.min(Math.max(index + step + (back ? 1 : 0), 0), starts.length - 1)] ?? null;
}

/**
 * Where the bar `step` bars away starts, or null.
 *
 * @param {Music["bars"]} bars
 * @param {number} seconds
 * @param {number} step
 */
export function barStep(bars, seconds, step) {
  return stepped(bars.map(([, start]) => start), seconds, step, 0.35);
}

/**
 * Where the chart's line `step` lines away starts, or null.
 *
 * @param {ChartLine[]} lines
 * @param {number} seconds
 * @param {number} step
 */
export function lineStep(lines, seconds, step) {
  return stepped(lines.map((line) => line.bars[0].start), seconds, step, 0.35);
}

/**
 * Where the section `step` sections away starts, or null.
 *
 * @param {Section[]} sections
 * @param {number} seconds
 * @param {number} step
 */
export function sectionStep(sections, seconds, step) {
  return stepped(sections.map((each) => each.start), seconds, step, 1);
}

/**
 * The section at `seconds`, or null.
 *
 * @param {Section[]} sections
 * @param {number} seconds
 */
export function sectionAt(sections, seconds) {
  return sections.findLast((each) => each.start <= seconds + 0.005 && seconds < each.end) ?? null;
}

/**
 * Bar, beat and section as a musician counts them.
 *
 * @typedef {object} Place
 * @property {number | null} bar
 * @property {number | null} beat
 * @property {number} beatStart where the beat begins; outside the bars the time itself
 * @property {Section | null} section
 * @property {number | null} inSection the bar as counted in the section
 * @property {number | null} of bars that the section has
 */

/**
 * The place at `seconds`.
 *
 * @param {Music} music
 * @param {number} seconds
 * @returns {Place}
 */
export function placeAt(music, seconds) {
  const index = barIndex(music.bars, seconds);
  const section = sectionAt(music.sections, seconds);
  if (index < 0 || seconds > music.bars[index][2] + 0.005) {
    return { bar: null, beat: null, beatStart: seconds, section, inSection: null, of: null };
  }
  const [number, start, end] = music.bars[index];
  const first = lastAt(music.beats, start + 0.005);
  const now = lastAt(music.beats, seconds + 0.005);
  const at = music.beats[now];
  const beat = at === undefined || at < start - 0.005 || at >= end ? 1 : now - first + 1;
  return {
    bar: number,
    beat,
    beatStart: at !== undefined && at >= start - 0.005 ? at : start,
    section,
    inSection: section ? number - section.first + 1 : null,
    of: section ? section.last - section.first + 1 : null,
  };
}

/**
 * Seconds as m:ss.t.
 *
 * @param {number} seconds
 */
export function clock(seconds) {
  const tenths = Math.max(0, Math.round(seconds * 10));
  const rest = Math.floor(tenths / 10) % 60;
  return `${Math.floor(tenths / 600)}:${String(rest).padStart(2, "0")}.${tenths % 10}`;
}
