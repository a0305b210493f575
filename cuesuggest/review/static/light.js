// @ts-check
/**
 * How bright effect light is at a moment, from the levels that the server sends; and a limit on how often it may flash
 * on this screen.
 *
 * Pure. Brightness is 0..1. Which cue does what to the light, the server alone knows. The limit is the yardstick of
 * WCAG 2.3.1: at most three flashes in any one second.
 */

/** @import { Light, LightPoint } from "./content.js" */

const MOST_FLASHES = 3;
const WINDOW = 1;
/** A change of a tenth of full brightness counts (WCAG 2.3.1). */
const STEP = 0.1;
const SHOT_DECAY = 0.6;

/**
 * The level of a side at a time: straight between its corner points; dark before the first.
 *
 * @param {LightPoint[]} points
 * @param {number} seconds
 */
export function along(points, seconds) {
  const index = points.findLastIndex(([time]) => time <= seconds);
  if (index < 0) return 0;
  const [time, level] = points[index];
  if (index + 1 === points.length) return level;
  const [later, to] = points[index + 1];
  return level + ((seconds - time) / (later - time)) * (to - level);
}

/**
 * Brightness at a time: the brightest side, or one-shot; those that come too fast only if `fast`.
 *
 * @param {Light} light
 * @param {number} seconds
 * @param {boolean} fast
 */
export function brightness(light, seconds, fast) {
  if (light.held.some(([from, until]) => seconds >= from && seconds < until)) return 0;
  let level = Math.max(0, ...Object.values(light.sides).map((points) => along(points, seconds)));
  for (const [time, peak, crowded] of light.shots) {
    const since = seconds - time;
    if (since >= 0 && since < SHOT_DECAY && (fast || !crowded)) {
      level = Math.max(level, peak * (1 - since / SHOT_DECAY));
    }
  }
  return Math.min(1, level);
}

/**
 * Lets brightness through, but no more than three flashes in any one second, whatever asks for them: cues, a loop,
 * jumping about. A flash begins where it gets brighter after it got darker; one too many is held back until there
 * is room again.
 */
export class FlashLimit {
  #low = 0;
  #peak = 0;
  #rising = false;
  /** @type {number[]} */
  #rises = [];

  /**
   * What to show when something is asked for.
   *
   * @param {number} wanted
   * @param {number} now seconds by the wall
   */
  next(wanted, now) {
    this.#rises = this.#rises.filter((time) => now - time < WINDOW - 1e-9);
    if (this.#rising) {
      this.#peak = Math.max(this.#peak, wanted);
      if (this.#peak - wanted >= STEP) {
        this.#rising = false;
        this.#low = wanted;
      }
      return wanted;
    }
    this.#low = Math.min(this.#low, wanted);
    if (wanted - this.#low < STEP) return wanted;
    if (this.#rises.length >= MOST_FLASHES) return this.#low;
    this.#rises.push(now);
    this.#rising = true;
    this.#peak = wanted;
    return wanted;
  }
}
