// @ts-check
import { fetchSongs, Refused } from "./api.js";
import { around, el, find } from "./dom.js";
import { energyLine, sharedLooks } from "./night-view.js";
import { clock } from "./places.js";
import { SoundCheckView } from "./sound-check-view.js";

/** @import { NightOfSong, SongList, SongRow } from "./content.js" */
/** @import { Store } from "./store.js" */

/** All songs with what is still to be done in each; one is opened by its name. Of a night, also its sound check. */
export class SongsView {
  #dialog;
  #store;
  #shown = "";
  #check;

  /**
   * @param {HTMLDialogElement} dialog
   * @param {Store} store
   * @param {(said: string) => void} say
   */
  constructor(dialog, store, say) {
    this.#dialog = dialog;
    this.#store = store;
    this.#check = new SoundCheckView(
      () => this.#turnCheck(false),
      async (said) => {
        say(said);
        await store.load();
      },
    );
    store.addEventListener("song", () => dialog.open && this.#load());
    // Closed before the song is asked for: what is held back waits for no dialog.
    dialog.addEventListener("click", (event) => {
      if (around(event, "button[data-do^='song:']")) dialog.close();
    });
    dialog.addEventListener("keydown", (event) => this.#step(event));
  }

  /** Open it, or close it where it is open. */
  turn() {
    if (this.#dialog.open) {
      this.#dialog.close();
      return;
    }
    this.#open(false);
  }

  /** Open the sound check, or go back from it to the list. */
  soundCheck() {
    if (this.#dialog.open) this.#turnCheck(!this.#check.open);
    else this.#open(true);
  }

  /** @param {boolean} check whether at the sound check */
  #open(check) {
    this.#shown = "";
    const turn = this.#store.page.evening.night ? el("button", { type: "button", "data-do": "sound-check" }, el("kbd", {}, "C"), " sound check") : null;
    const back = el("button", { type: "button", "data-do": "songs" }, el("kbd", {}, "Shift S"), " back");
    const about = el("p", { class: "about", role: "status" }, "The songs are being read…");
    const scroll = el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "All songs", autofocus: true });
    this.#dialog.replaceChildren(el("div", { class: "top" }, el("h2", { id: "night-check-title" }, "All songs"), turn, back), about, scroll);
    this.#dialog.showModal();
    this.#turnCheck(check);
    this.#load();
  }

  /** Show the sound check in place of the list, or the list again. @param {boolean} check */
  #turnCheck(check) {
    find("h2", HTMLElement, this.#dialog).textContent = check ? "Sound check, for all songs" : "All songs";
    this.#check.element.remove();
    for (const each of this.#dialog.querySelectorAll(".about, .scroll, [data-do=sound-check]")) each.toggleAttribute("hidden", check);
    if (check) {
      this.#dialog.append(this.#check.element);
      this.#check.begin();
    } else {
      find(".scroll", HTMLElement, this.#dialog).focus();
    }
  }

  async #load() {
    const { song } = this.#store;
    try {
      const list = await fetchSongs(song);
      if (this.#dialog.open && song === this.#store.song) this.#draw(list, song);
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      find(".about", HTMLElement, this.#dialog).textContent = error.message;
    }
  }

  /**
   * @param {SongList} list
   * @param {string} here id of the song that is shown
   */
  #draw(list, here) {
    const text = JSON.stringify(list);
    if (text === this.#shown) return;
    const focused = this.#shown ? this.#buttons().find((each) => each === document.activeElement)?.dataset.do : `song:${here}`;
    this.#shown = text;
    const { songs, advice, night } = list;
    if (night?.controls) this.#check.offer(night.controls);
    // Where a song is a part of a longer recording, its place there is told.
    const parts = songs.some((each) => each.part);
    const head = ["Song", ...(night?.songs.length ? ["Cues"] : []), ...(parts ? ["From", "To"] : []), "Tempo", "Length", "To do"].map((word) => el("th", { scope: "col", class: word === "Tempo" && "tempo" }, word));
    const played = new Map(night?.songs.map((each) => [each.song, each]));
    const rows = songs.flatMap((each) => {
      const tonight = night?.songs.length ? (played.get(each.song) ?? null) : undefined;
      const between = tonight ? [el("tr", { class: "after" }, el("td", { colspan: 1 + head.length }, el("p", { class: "between" }, tonight.after)))] : [];
      return [row(each, here, parts, tonight), ...between];
    });
    find(".about", HTMLElement, this.#dialog).textContent = [night?.title, summary(songs)].filter(Boolean).join(": ");
    find(".scroll", HTMLElement, this.#dialog).replaceChildren(
      ...(night ? [...night.remarks.map((each) => el("p", { class: "because" }, each)), ...(night.songs.length ? [energyLine(night)] : []), el("p", { class: "between" }, night.before)] : []),
      el("table", {}, el("thead", {}, el("tr", {}, el("td", {}), ...head)), el("tbody", {}, ...rows)),
      ...(night ? [sharedLooks(night)].filter((each) => each !== null) : []),
      ...advice.map(({ said, command }) => el("p", { class: "advice" }, said, " ", el("code", {}, command))),
    );
    if (!this.#check.open) this.#buttons().find((each) => each.dataset.do === focused)?.focus();
  }

  /** Arrows lead from song to song, as Tab does. @param {KeyboardEvent} event */
  #step(event) {
    if ((event.key !== "ArrowDown" && event.key !== "ArrowUp") || this.#check.open) return;
    const buttons = this.#buttons();
    const at = buttons.findIndex((each) => each === document.activeElement);
    const to = at < 0 ? 0 : Math.min(Math.max(at + (event.key === "ArrowDown" ? 1 : -1), 0), buttons.length - 1);
    buttons[to]?.focus();
    event.preventDefault();
  }

  #buttons() {
    return [.../** @type {NodeListOf<HTMLButtonElement>} */ (this.#dialog.querySelectorAll("button[data-do^='song:']"))];
  }
}

/**
 * @param {SongRow} song
 * @param {string} here
 * @param {boolean} parts whether it is told where in the recording a song is
 * @param {NightOfSong | null | undefined} night what it is in the night; null where it is not played, undefined where there is no night
 */
function row(song, here, parts, night) {
  const { number, title, state, wrong, tempo, seconds, part, differs } = song;
  const short = (/** @type {number | undefined} */ time) => (time === undefined ? "" : clock(time).replace(/\..*/, ""));
  const opens = state === "open" || state === "done";
  const shown = song.song === here;
  const name = opens ? el("button", { type: "button", "data-do": `song:${song.song}`, "aria-current": shown && "true" }, title) : title;
  return el(
    "tr",
    { class: [shown ? "chosen" : "", state === "done" ? "done" : ""].join(" ").trim() },
    el("td", { class: "number" }, String(night?.number ?? number)),
    el("td", {}, name),
    night === undefined ? null : el("td", { class: "number" }, night?.cues ?? "not played"),
    ...(parts ? [0, 1].map((end) => el("td", { class: "number" }, short(part?.[end]))) : []),
    el("td", { class: "number tempo" }, tempo ? String(Math.round(tempo)) : ""),
    el("td", { class: "number" }, short(seconds)),
    el("td", {}, el("span", { class: state === "wrong" ? "wrong" : "" }, toDo(song)), differs ? el("div", { class: "because" }, differs) : null, wrong ? el("div", { class: "because" }, wrong) : null, ...(night?.said ?? []).map((each) => el("div", { class: "because" }, each))),
  );
}

/** "3 questions open, 12 cues to check", "done". @param {SongRow} song */
function toDo({ state, questions = 0, to_check = 0 }) {
  if (state === "not drafted") return "not drafted yet";
  if (state === "wrong") return "cannot be opened";
  const left = [
    questions ? `${questions} question${questions === 1 ? "" : "s"} open` : "",
    to_check ? `${to_check} cue${to_check === 1 ? "" : "s"} to check` : "",
  ];
  return left.filter(Boolean).join(", ") || "done";
}

/** @param {SongRow[]} songs */
function summary(songs) {
  const done = songs.filter((each) => each.state === "done").length;
  return `${done} of ${songs.length} songs ${done === 1 ? "is" : "are"} done.`;
}
