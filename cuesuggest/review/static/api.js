// @ts-check
/** What goes over the wire to the server that this page came from. */

/** @import { Chosen, Disk, Done, NightTold, Page, Proposal, SongList } from "./content.js" */
/** @import { Run } from "./presses.js" */

/** @typedef {{bars: number, width: number}} Room how many bars stand side by side, how wide the chart may be */

/** An answer that is no success; with the page's content as it is now, if the song has changed meanwhile. */
export class Refused extends Error {
  /**
   * @param {string} message
   * @param {{page?: Page | null, unsaved?: boolean}} more `unsaved` where it would have been done, but is not on the disk
   */
  constructor(message, { page = null, unsaved = false } = {}) {
    super(message);
    this.page = page;
    this.unsaved = unsaved;
  }
}

const GONE = "The program has stopped. Start cuesuggest review again; all that was done before is saved.";
const FAILED = "The program failed at this. Open the page again to see what is saved.";
// Kept for this window alone, also when it is loaded again; no other server and no other site can read it.
const KEPT = "key";
const SHOWN = "song";

/**
 * @param {string} path
 * @param {RequestInit} [options]
 */
async function asked(path, options) {
  const headers = { "X-Cuesuggest-Key": sessionStorage.getItem(KEPT) ?? "", ...options?.headers };
  try {
    return await fetch(path, { credentials: "omit", cache: "no-store", ...options, headers });
  } catch {
    throw new Refused(GONE, { unsaved: true });
  }
}

/**
 * @param {string} path
 * @param {object} values
 */
function posted(path, values) {
  const headers = { "Content-Type": "application/json" };
  return asked(path, { method: "POST", headers, body: JSON.stringify(values) });
}

/** @param {Response} response */
async function told(response) {
  const body = await response.json().catch(() => {
    throw new Refused(FAILED, { unsaved: true });
  });
  if (!response.ok) throw new Refused(body.error, { page: body.behind ? body : null, unsaved: Boolean(body.unsaved) });
  return body;
}

/**
 * Exchange the token of an address for the key of this run.
 *
 * @param {string} token
 */
export async function enter(token) {
  const { key } = await told(await posted("/enter", { token }));
  sessionStorage.setItem(KEPT, key);
}

/**
 * The page's content: the song, its chart for this width, what may be asked.
 *
 * @param {string} song its id
 * @param {Room} room
 * @returns {Promise<Page>}
 */
export async function fetchSong(song, room) {
  return told(await asked(`/song?song=${song}&bars=${room.bars}&width=${room.width}`));
}

/**
 * The id of the song to begin with: the one that this window showed before, or the first that can be opened.
 *
 * @returns {Promise<string>}
 */
export async function fetchFirst() {
  return (await told(await asked(`/first?kept=${encodeURIComponent(shownSong())}`))).song;
}

/** The id of the song that this window shows. */
export const shownSong = () => sessionStorage.getItem(SHOWN) ?? "";

/**
 * Keep which song this window shows, for when it is loaded again.
 *
 * @param {string} song
 */
export function keepShown(song) {
  sessionStorage.setItem(SHOWN, song);
}

/**
 * The state of every song.
 *
 * @param {string} song id of the one that is shown
 * @returns {Promise<SongList>}
 */
export async function fetchSongs(song) {
  return told(await asked(`/songs?song=${song}`));
}

/**
 * What the server holds by now.
 *
 * @param {string} song
 * @returns {Promise<Disk>}
 */
export async function fetchDisk(song) {
  return told(await asked(`/disk?song=${song}`));
}

/**
 * Do something; the answer is what was done and the page's content after it.
 *
 * @param {string} song
 * @param {object} values
 * @param {Room} room
 * @returns {Promise<Done>}
 */
export async function post(song, values, room) {
  return told(await posted(`/act?song=${song}&bars=${room.bars}&width=${room.width}`, values));
}

/**
 * Say what a sound check would change in every song of the night, do it, or take the last one back.
 *
 * @param {object} values
 * @returns {Promise<NightTold>}
 */
export async function postNight(values) {
  return told(await posted("/night", values));
}

/**
 * Take files out: a file to keep, the names of those that were written beside the document, or the names of those
 * that are there already, with nothing written.
 *
 * @param {string} song
 * @param {object} wanted
 * @returns {Promise<{name: string, blob: Blob, left_out: string[]} | {written: string[], left_out: string[]} | {there: string[]}>}
 */
export async function fetchExport(song, wanted) {
  const response = await posted(`/export?song=${song}`, wanted);
  const name = response.headers.get("x-file-name");
  if (name !== null) {
    const left_out = JSON.parse(decodeURIComponent(response.headers.get("x-left-out") ?? "[]"));
    return { name: decodeURIComponent(name), blob: await response.blob(), left_out };
  }
  if (response.status === 409) return response.json();
  return told(response);
}

/**
 * How late somebody taps to the click, in ms.
 *
 * @param {number[]} taps
 * @returns {Promise<{late: number}>}
 */
export async function fetchLate(taps) {
  return told(await posted("/late", { taps }));
}

/**
 * What was pressed, laid on bars and beats, beside the draft.
 *
 * @param {string} song
 * @param {Run[]} runs
 * @returns {Promise<Proposal>}
 */
export async function fetchPressed(song, runs) {
  return told(await posted(`/pressed?song=${song}`, { runs }));
}

/**
 * Keep what was chosen about the page.
 *
 * @param {Chosen} chosen
 */
export async function keepChosen(chosen) {
  await told(await posted("/chosen", chosen));
}
