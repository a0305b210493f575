// @ts-check
import { barIndex } from "./places.js";

/** @import { Cue } from "./content.js" */
/** @import { Player } from "./player.js" */
/** @import { Store } from "./store.js" */

/**
 * What is decided with one key, at the place that is heard.
 *
 * @param {object} parts
 * @param {Store} parts.store
 * @param {Player} parts.player
 * @param {(work: (cue: Cue) => unknown) => () => void} parts.withCue
 * @returns {Record<string, () => unknown>} by the command's id
 */
export function quickActs({ store, player, withCue }) {
  /** The 1 of the bar that is meant. A hand that plays along may be early: half a beat before a bar it means that bar. */
  const barMeant = () => {
    const { bars } = store.page.music;
    const now = bars[barIndex(bars, player.seconds)];
    const early = now && player.playing ? (now[2] - now[1]) / now[3] / 2 : 0;
    const meant = bars[barIndex(bars, player.seconds + early)];
    return meant && player.seconds <= meant[2] + 0.005 ? { bar: meant[0] } : { seconds: player.seconds };
  };
  /** @param {{beats?: number, times?: number}} by */
  const length = (by) => withCue((cue) => store.act("length", { cue: cue.id, ...by }));

  return {
    "one-shot": () => store.act("one-shot", barMeant()),
    "one-shot-beat": () => store.act("one-shot", { seconds: player.seconds }),
    dark: () => store.act("dark", { seconds: player.seconds }),
    longer: length({ beats: 1 }),
    shorter: length({ beats: -1 }),
    "twice-long": length({ times: 2 }),
    "half-long": length({ times: 0.5 }),
    "accept-all": () => store.act("accept-all"),
  };
}
