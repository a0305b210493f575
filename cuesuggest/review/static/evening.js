// @ts-check
import { keepShown } from "./api.js";

/** @import { Hand } from "./hand.js" */
/** @import { Player } from "./player.js" */
/** @import { SongsView } from "./songs-view.js" */
/** @import { Store } from "./store.js" */

/**
 * Going from song to song: each is found again where it was left, and nothing that was meant for one is left over for
 * the next.
 *
 * @param {object} parts
 * @param {Store} parts.store
 * @param {Player} parts.player
 * @param {Hand} parts.hand
 * @param {SongsView} parts.songs
 * @param {(said: string, wrong?: boolean) => void} parts.say
 * @param {() => Promise<void>} parts.draw makes the chart as large as the window allows
 * @returns {Record<string, (of: string) => unknown>} commands by their id
 */
export function songActs({ store, player, hand, songs, say, draw }) {
  /** @typedef {{cue: string | null, passed: Set<string>, seconds: number}} Left */
  /** @type {Map<string, Left>} */
  const left = new Map();
  let shown = store.song;

  store.addEventListener("other", () => {
    const { cue, passed } = hand.now;
    left.set(shown, { cue, passed, seconds: player.seconds });
    shown = store.song;
    keepShown(shown);
    const there = left.get(shown);
    hand.set({ cue: there?.cue ?? null, passed: there?.passed ?? new Set(), question: null, mode: "", taps: [] });
    // The place is this song's before keys that waited are done in it.
    player.close();
    const { sound, music, revision } = store.page;
    if (sound) player.open(sound.address, music.start, revision);
    if (there) player.seek(there.seconds);
  });

  /** @param {string} song */
  const go = async (song) => {
    if (song === store.song || !(await store.go(song))) return;
    const { title, evening } = store.page;
    say(`Song ${evening.number} of ${evening.of}: ${title}.`, false);
    await draw();
  };

  /**
   * @param {"before" | "after"} way
   * @param {string} otherwise
   */
  const step = (way, otherwise) => () => {
    const { evening } = store.page;
    const song = evening[way];
    return song === null ? say(evening.of === 1 ? "There is only this song." : otherwise) : go(song);
  };

  return {
    songs: () => (store.page.evening.of === 1 && !store.page.evening.night ? say("There is only this song.") : songs.turn()),
    "sound-check": () => (store.page.evening.night ? songs.soundCheck() : say("A sound check is for a night. Open its set list: cuesuggest review NIGHT.toml")),
    "song-before": step("before", "There is no song before this one."),
    "song-after": step("after", "There is no song after this one."),
    song: go,
  };
}
