// @ts-check
import { fetchDisk, fetchSong, post, Refused } from "./api.js";
import { workOf } from "./work.js";

/** @import { Room } from "./api.js" */
/** @import { Cue, Page, Told } from "./content.js" */

/**
 * Holds the Song, and nothing else does. What changes it goes through `act`, one thing after the other.
 *
 * Events: "song" when there is another state to draw, "told" with a Told when there is something to say, "busy" when
 * work that takes a while begins or ends, "conflict" with "window", "file", "gone" or null.
 */
export class Store extends EventTarget {
  /**
   * What is shown; ahead of what the server has told while an action is on its way.
   *
   * @type {Page | null}
   */
  #page = null;
  /** @type {Page | null} what the server told last */
  #sure = null;
  #room;
  /** @type {Promise<void>} */
  #waiting = Promise.resolve();
  #open = 0;
  #busy = "";

  /** @param {() => Room} room tells how much room the chart has */
  constructor(room) {
    super();
    this.#room = room;
  }

  /** Whether the server has told the song at all. */
  get there() {
    return this.#page !== null;
  }

  /** The page's content, with what was asked for and not answered yet. */
  get page() {
    if (this.#page === null) throw new Error("The song has not come yet.");
    return this.#page;
  }

  /** Whether everything that was asked for has been answered. */
  get settled() {
    return this.#open === 0;
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
    return this.#inTurn(async () => {
      try {
        await this.#fetch();
        this.#conflict(null);
      } catch (error) {
        this.#refused(error);
      }
    });
  }

  /**
   * One thing after the other: a song that was asked for before an action may come after its answer, and would show
   * the state before it.
   *
   * @template Result
   * @param {() => Promise<Result>} work
   */
  #inTurn(work) {
    const done = this.#waiting.then(work);
    this.#waiting = done.then(() => {});
    return done;
  }

  async #fetch() {
    const page = await fetchSong(this.#room());
    // What was done meanwhile is shown already, and its answer brings the song whole.
    if (this.#open === 0) this.#take(page);
  }

  /**
   * Do something to the song. `now` changes the shown state at once, before the server has answered.
   *
   * @param {string} what the action's name
   * @param {object} values what it needs
   * @param {((page: Page) => void) | null} now changes the page's content in place
   * @returns {Promise<string>} why it was not done; "" if it was
   */
  act(what, values = {}, now = null) {
    const work = workOf(what, { ...values }, this.page);
    if (work) this.#work(work);
    if (now) {
      if (this.#page === this.#sure) this.#page = structuredClone(this.page);
      now(this.page);
      this.#changed();
    }
    this.#open += 1;
    return this.#inTurn(async () => {
      let refused = "";
      try {
        const { revision } = this.page;
        const answer = await post({ do: what, revision, ...values }, this.#room());
        this.#open -= 1;
        // With more on the way, what is shown already is ahead of this answer.
        if (this.#open === 0 || !now) this.#take(answer);
        else {
          this.#sure = answer;
          this.page.revision = answer.revision;
        }
        if (what === "take-file" || what === "keep-shown") this.#conflict(null);
        this.#tell(answer);
      } catch (error) {
        this.#open -= 1;
        refused = this.#refused(error);
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
    if (!this.settled || !this.there) return;
    try {
      const { revision, disk } = await fetchDisk();
      if (!this.settled) return;
      if (disk !== "same") this.#conflict(disk === "gone" ? "gone" : "file");
      else if (revision !== this.page.revision) this.#conflict("window");
      else this.#conflict(null);
    } catch (error) {
      this.#refused(error);
    }
  }

  /** @param {Page} page */
  #take(page) {
    this.#page = this.#sure = page;
    this.#changed();
  }

  #changed() {
    this.dispatchEvent(new Event("song"));
  }

  /** @param {"window" | "file" | "gone" | null} detail */
  #conflict(detail) {
    this.dispatchEvent(new CustomEvent("conflict", { detail }));
  }

  /** @param {Told} detail */
  #tell(detail) {
    this.dispatchEvent(new CustomEvent("told", { detail }));
  }

  /**
   * Nothing is shown that was not done; and it is said.
   *
   * @param {unknown} error
   */
  #refused(error) {
    if (this.#sure && this.#page !== this.#sure) this.#take(this.#sure);
    if (!(error instanceof Refused)) throw error;
    this.#tell({ said: error.message, lines: [], remarks: [], wrong: true, unsaved: error.unsaved });
    if (error.page) this.look();
    else if (this.there) this.#reload();
    return error.message;
  }

  /** After a refusal, take the server's word, if it still speaks. */
  #reload() {
    return this.#inTurn(async () => {
      try {
        await this.#fetch();
      } catch (error) {
        if (!(error instanceof Refused)) throw error;
      }
    });
  }
}
