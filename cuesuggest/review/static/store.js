// @ts-check
import { fetchDisk, fetchSong, post, Refused } from "./api.js";
import { workOf } from "./work.js";

/** @import { Room } from "./api.js" */
/** @import { Cue, Page, Told } from "./content.js" */

/**
 * A song as this page holds it. Each has its own, so that what comes late for one never reaches another.
 *
 * @typedef {object} HeldSong
 * @property {string} song its id
 * @property {Page | null} page what is shown; ahead of what the server has told while an action is on its way
 * @property {Page | null} sure what the server told last
 * @property {Promise<void>} waiting
 * @property {number} open how much was asked for and not answered yet
 */

/**
 * Holds the Song, and nothing else does. What changes it goes through `act`, one thing after the other.
 *
 * Events: "song" when there is another state to draw, "other" just before that where it is another song, "told" with a
 * Told when there is something to say, "busy" when work that takes a while begins or ends, "conflict" with "window",
 * "file", "gone" or null.
 */
export class Store extends EventTarget {
  #room;
  /** @type {Map<string, HeldSong>} */
  #songs = new Map();
  #held;
  #busy = "";

  /**
   * @param {() => Room} room tells how much room the chart has
   * @param {string} song id of the one to begin with
   */
  constructor(room, song) {
    super();
    this.#room = room;
    this.#held = this.#of(song);
  }

  /** Whether the server has told the song at all. */
  get there() {
    return this.#held.page !== null;
  }

  /** The page's content, with what was asked for and not answered yet. */
  get page() {
    if (this.#held.page === null) throw new Error("The song has not come yet.");
    return this.#held.page;
  }

  /** The id of the song that is shown. */
  get song() {
    return this.#held.song;
  }

  /** Whether everything that was asked for has been answered. */
  get settled() {
    return this.#held.open === 0;
  }

  /** The work that is on its way and takes a while, such as "Hearing anew"; "" if there is none. */
  get busy() {
    return this.#busy;
  }

  /**
   * @param {string | null} id
   * @returns {Cue | null}
   */
  cue(id) {
    return this.page.cues.find((cue) => cue.id === id) ?? null;
  }

  /** Take the song from the server, as when the page opens or its width has changed. */
  load() {
    const held = this.#held;
    return this.#inTurn(held, async () => {
      try {
        await this.#fetch(held);
        this.#conflict(held, null);
      } catch (error) {
        this.#refused(held, error);
      }
    });
  }

  /**
   * Go to another song. What is shown stays what is meant until the other has come; then all is the other's at once.
   *
   * @param {string} song its id
   * @returns {Promise<boolean>} whether it is shown now
   */
  async go(song) {
    const held = this.#of(song);
    this.#work("Opening the song");
    await this.#inTurn(held, async () => {
      try {
        await this.#fetch(held);
        this.#held = held;
        this.dispatchEvent(new Event("other"));
        this.#changed(held);
        this.#conflict(held, null);
      } catch (error) {
        this.#refused(this.#held, error);
      }
    });
    this.#work("");
    return this.#held === held;
  }

  /**
   * One thing after the other: a song that was asked for before an action may come after its answer, and would show
   * the state before it.
   *
   * @template Result
   * @param {HeldSong} held
   * @param {() => Promise<Result>} work
   */
  #inTurn(held, work) {
    const done = held.waiting.then(work);
    held.waiting = done.then(() => {});
    return done;
  }

  /** @param {HeldSong} held */
  async #fetch(held) {
    const page = await fetchSong(held.song, this.#room());
    // What was done meanwhile is shown already, and its answer brings the song whole.
    if (held.open === 0) this.#take(held, page);
  }

  /**
   * Do something to the song. `now` changes the shown state at once, before the server has answered.
   *
   * @param {string} what the action's name
   * @param {object} values what it needs
   * @param {((cues: Cue[]) => void) | null} now changes the cues in place
   * @returns {Promise<string>} why it was not done; "" if it was
   */
  act(what, values = {}, now = null) {
    const held = this.#held;
    const work = workOf(what, { ...values }, this.page);
    if (work) this.#work(work);
    if (now) {
      if (held.page === held.sure) held.page = { ...this.page, cues: structuredClone(this.page.cues) };
      now(this.page.cues);
      this.#changed(held);
    }
    held.open += 1;
    return this.#inTurn(held, async () => {
      let refused = "";
      try {
        const answer = await post(held.song, { do: what, revision: held.page?.revision, ...values }, this.#room());
        held.open -= 1;
        // With more on the way, what is shown already is ahead of this answer.
        if (held.open === 0 || !now) this.#take(held, answer);
        else {
          held.sure = answer;
          if (held.page) held.page.revision = answer.revision;
        }
        if (what === "take-file" || what === "keep-shown") this.#conflict(held, null);
        if (held === this.#held) this.#tell(answer);
      } catch (error) {
        held.open -= 1;
        refused = this.#refused(held, error, true);
      }
      if (work) this.#work("");
      return refused;
    });
  }

  /** @param {string} work */
  #work(work) {
    this.#busy = work;
    this.dispatchEvent(new Event("busy"));
  }

  /** Look whether the song has changed behind this page's back. */
  async look() {
    const held = this.#held;
    if (!this.settled || !this.there) return;
    try {
      const { revision, disk } = await fetchDisk(held.song);
      if (held.open) return;
      if (disk !== "same") this.#conflict(held, disk === "gone" ? "gone" : "file");
      else if (revision !== held.page?.revision) this.#conflict(held, "window");
      else this.#conflict(held, null);
    } catch (error) {
      this.#refused(held, error);
    }
  }

  /** @param {string} song */
  #of(song) {
    /** @type {HeldSong} */
    const held = this.#songs.get(song) ?? { song, page: null, sure: null, waiting: Promise.resolve(), open: 0 };
    this.#songs.set(song, held);
    return held;
  }

  /**
   * @param {HeldSong} held
   * @param {Page} page
   */
  #take(held, page) {
    held.page = held.sure = page;
    this.#changed(held);
  }

  /** @param {HeldSong} held */
  #changed(held) {
    if (held === this.#held) this.dispatchEvent(new Event("song"));
  }

  /**
   * @param {HeldSong} held
   * @param {"window" | "file" | "gone" | null} detail
   */
  #conflict(held, detail) {
    if (held === this.#held) this.dispatchEvent(new CustomEvent("conflict", { detail }));
  }

  /** @param {Told} detail */
  #tell(detail) {
    this.dispatchEvent(new CustomEvent("told", { detail }));
  }

  /**
   * Nothing is shown that was not done; and it is said, also of a song that is not shown any more.
   *
   * @param {HeldSong} held
   * @param {unknown} error
   * @param {boolean} acted whether something was done that had to be saved
   */
  #refused(held, error, acted = false) {
    if (held.sure && held.page !== held.sure) this.#take(held, held.sure);
    if (!(error instanceof Refused)) throw error;
    const of = held === this.#held || !held.page ? "" : `${held.page.title}: `;
    this.#tell({ said: of + error.message, lines: [], remarks: [], wrong: true, unsaved: acted && error.unsaved });
    if (held === this.#held) {
      if (error.page) this.look();
      else if (this.there) this.#reload(held);
    }
    return error.message;
  }

  /**
   * After a refusal, take the server's word, if it still speaks.
   *
   * @param {HeldSong} held
   */
  #reload(held) {
    return this.#inTurn(held, async () => {
      try {
        await this.#fetch(held);
      } catch (error) {
        if (!(error instanceof Refused)) throw error;
      }
    });
  }
}
