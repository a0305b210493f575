/**
 * Bars, beats and sections by time. Pure: lists in, answers out.
 *
 * A bar is [number, start, end, beats, signature]; times are seconds from the start of the recording.
 */

/** Index of the last of `times` (rising) that is not after `seconds`; -1 before the first. */
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

/** Index of the bar sounding at `seconds`; -1 before the first. A few milliseconds early count as there. */
export function barIndex(bars, seconds) {
  return lastAt(bars.map((bar) => bar[1]), seconds + 0.005);
}

/** Where the bar `step` bars away starts. Going back from inside a bar leads to that bar's own start first. */
export function barStep(bars, seconds, step) {
  const index = barIndex(bars, seconds);
  const inside = index >= 0 && seconds - bars[index][1] > 0.35;
  const target = index + step + (step < 0 && inside ? 1 : 0);
  return bars[Math.min(Math.max(target, 0), bars.length - 1)]?.[1] ?? seconds;
}

/** Where the chart's line `step` lines away starts; going back from inside one leads to its own start first. */
export function lineStep(lines, seconds, step) {
  return barStep(lines.map((line) => [0, line.bars[0].start]), seconds, step);
}

/** The section at `seconds`, or null. */
export function sectionAt(sections, seconds) {
  return sections.findLast((each) => each.start <= seconds + 0.005 && seconds < each.end) ?? null;
}

/** Where the section `step` sections away starts; going back from inside one leads to its own start first. */
export function sectionStep(sections, seconds, step) {
  const index = sections.findLastIndex((each) => each.start <= seconds + 0.005);
  const inside = index >= 0 && seconds - sections[index].start > 1;
  const target = index + step + (step < 0 && inside ? 1 : 0);
  return sections[Math.min(Math.max(target, 0), sections.length - 1)]?.start ?? seconds;
}

/** Bar, beat and section at `seconds` as a musician counts them: {bar, beat, beatStart, section, inSection, of}. */
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

/** Seconds as m:ss.t. */
export function clock(seconds) {
  const tenths = Math.max(0, Math.round(seconds * 10));
  const rest = Math.floor(tenths / 10) % 60;
  return `${Math.floor(tenths / 600)}:${String(rest).padStart(2, "0")}.${tenths % 10}`;
}
