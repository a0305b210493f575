import { fetchDisk, fetchSong, post, Refused } from "./api.js";

/**
 * Holds the Song, and nothing else does. What changes it goes through `act`, one thing after the other.
 *
 * Events: "song" when there is another state to draw, "told" with {said, lines, remarks, wrong} when there is
 * something to say, "conflict" with "window", "file", "gone" or null.
 */
export class Store extends EventTarget {
  #page = null;
  #room;
  #waiting = Promise.resolve();
  #open = 0;

  /** `room` tells how much room the chart has: {bars, width}. */
  constructor(room) {
    super();
    this.#room = room;
  }

  /** The page's content as the server last told it. */
  get page() {
    return this.#page;
  }

  /** Whether everything that was asked for has been answered. */
  get settled() {
    return this.#open === 0;
  }

  cue(id) {
    return this.#page.cues.find((cue) => cue.id === id) ?? null;
  }

  /** Take the song from the server, as when the page opens or its width has changed. */
  async load() {
    try {
      this.#take(await fetchSong(this.#room()));
      this.#conflict(null);
    } catch (error) {
      this.#refused(error);
    }
  }

  /**
   * Do something to the song. `now` changes the shown state at once, before the server has answered.
   *
   * @param {string} what the action's name
   * @param {object} values what it needs
   * @param {?function(object): void} now changes the page's content in place
   */
  act(what, values = {}, now = null) {
    if (now) {
      now(this.#page);
      this.#changed();
    }
    this.#open += 1;
    this.#waiting = this.#waiting.then(async () => {
      try {
        const revision = this.#page.revision;
        const answer = await post({ do: what, revision, ...values }, this.#room());
        this.#open -= 1;
        // With more on the way, what is shown already is ahead of this answer.
        if (this.#open === 0 || !now) this.#take(answer);
        else this.#page.revision = answer.revision;
        if (what === "take-file" || what === "keep-shown") this.#conflict(null);
        this.#tell(answer);
      } catch (error) {
        this.#open -= 1;
        this.#refused(error);
      }
    });
    return this.#waiting;
  }

  /** Look whether the song has changed behind this page's back. */
  async look() {
    if (!this.settled || !this.#page) return;
    try {
      const { revision, disk } = await fetchDisk();
      if (!this.settled) return;
      if (disk !== "same") this.#conflict(disk === "gone" ? "gone" : "file");
      else if (revision !== this.#page.revision) this.#conflict("window");
      else this.#conflict(null);
    } catch (error) {
      this.#refused(error);
    }
  }

  #take(page) {
    this.#page = page;
    this.#changed();
  }

  #changed() {
    this.dispatchEvent(new Event("song"));
  }

  #conflict(detail) {
    this.dispatchEvent(new CustomEvent("conflict", { detail }));
  }

  #tell(detail) {
    this.dispatchEvent(new CustomEvent("told", { detail }));
  }

  #refused(error) {
    if (!(error instanceof Refused)) throw error;
    this.#tell({ said: error.message, lines: [], remarks: [], wrong: true });
    if (error.page) this.look();
    else if (this.#page) this.#reload();
  }

  /** After a refusal, what was shown at once may not be so: take the server's word, if it still speaks. */
  async #reload() {
    try {
      this.#take(await fetchSong(this.#room()));
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
    }
  }
}
