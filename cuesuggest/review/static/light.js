/**
 * How bright effect light is at a moment, from the cues; and a limit on how often it may flash on this screen.
 *
 * Pure. Brightness is 0..1 of what the cues call 100 %. The limit is the yardstick of WCAG 2.3.1: at most three
 * flashes in any one second.
 */

export const MOST_FLASHES = 3;
const WINDOW = 1;
/** A change of a tenth of full brightness counts (WCAG 2.3.1). */
const STEP = 0.1;
const SHOT_DECAY = 0.6;

/** Seconds at which the hand starts: earlier than the place for what lands on it. */
function begins(cue, length) {
  return cue.anchor === "lands-on" ? cue.seconds - length : cue.seconds;
}

/** When one-shots of a song peak: [{time, level, fast}], in order; `fast` are those above three a second. */
export function shots(cues, bars) {
  const starts = new Map(bars.map((bar) => [bar[0], bar[1]]));
  const found = [];
  for (const cue of cues) {
    if (cue.kind !== "one-shot" || cue.status === "rejected") continue;
    const level = (cue.level ?? 80) / 100;
    found.push({ time: cue.seconds, level });
    if (!cue.series) continue;
    for (let bar = cue.series.first_bar; bar <= cue.series.last_bar; bar += cue.series.every_bars) {
      const start = starts.get(bar);
      if (start === undefined || cue.series.skip.includes(bar) || Math.abs(start - cue.seconds) < 0.01) continue;
      found.push({ time: start, level });
    }
  }
  found.sort((a, b) => a.time - b.time);
  for (const each of found) {
    // The guard keeps exactly three a second from counting as four.
    const close = found.filter((other) => other.time >= each.time && other.time < each.time + WINDOW - 1e-9);
    if (close.length > MOST_FLASHES) for (const other of close) other.fast = true;
  }
  return found.map((each) => ({ fast: false, ...each }));
}

/**
 * Follow the cues side by side: for each side its corner points [{time, level}], straight between them, in order.
 * Side "*" is a kill button: its points are a share by which everything is multiplied.
 */
export function sides(cues) {
  const found = new Map([["*", [{ time: 0, level: 1 }]]]);
  const side = (name) => {
    if (!found.has(name)) found.set(name, [{ time: 0, level: 0 }]);
    return found.get(name);
  };
  const go = (name, start, length, level) => {
    const points = side(name);
    const from = along(points, start);
    while (points.length && points.at(-1).time > start) points.pop();
    points.push({ time: start, level: from }, { time: start + Math.max(length, 0.001), level });
  };
  const lit = (time) => [...found.keys()].filter((name) => name !== "*" && along(found.get(name), time) > 0.001);
  for (const cue of cues) {
    if (cue.status === "rejected" || cue.who !== "operator") continue;
    const up = cue.up_seconds ?? 0;
    const down = cue.down_seconds ?? 0;
    const name = cue.side ?? "?";
    if (["fade-in", "crossfade", "cut-in"].includes(cue.kind)) {
      const start = begins(cue, up);
      const others = cue.kind === "fade-in" ? [] : lit(start).filter((other) => other !== name);
      go(name, start, up, (cue.level ?? 50) / 100);
      for (const other of others) go(other, start + up / 2, down, 0);
    } else if (cue.kind === "ramp" && cue.level !== null) {
      go(name, begins(cue, up || down), up || down, cue.level / 100);
    } else if (cue.kind === "cut-out" && cue.trigger === "held") {
      const hold = up || down || 0.3;
      go("*", cue.seconds, 0, 0);
      go("*", cue.seconds + hold, 0, 1);
    } else if (cue.kind === "fade-out" || cue.kind === "cut-out") {
      const start = begins(cue, down);
      for (const other of cue.side ? [name] : lit(start)) go(other, start, cue.kind === "fade-out" ? down : 0, 0);
    }
  }
  return found;
}

/** The level of a side at a time: straight between its corner points. */
export function along(points, time) {
  const index = points.findLastIndex((point) => point.time <= time);
  if (index < 0) return points[0]?.level ?? 0;
  const from = points[index];
  const to = points[index + 1];
  if (!to) return from.level;
  return from.level + ((time - from.time) / (to.time - from.time)) * (to.level - from.level);
}

/** Brightness at a time; one-shots that come too fast only if `fast`. */
export function brightness(followed, flashes, time, fast) {
  let level = 0;
  for (const [name, points] of followed) if (name !== "*") level = Math.max(level, along(points, time));
  for (const flash of flashes) {
    const since = time - flash.time;
    if (since >= 0 && since < SHOT_DECAY && (fast || !flash.fast)) {
      level = Math.max(level, flash.level * (1 - since / SHOT_DECAY));
    }
  }
  return Math.min(1, level * along(followed.get("*"), time));
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
  #rises = [];

  /** What to show at `now` (seconds by the wall) when `wanted` is asked for. */
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
