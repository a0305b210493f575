// @ts-check
import { around, el, find } from "./dom.js";

/** @import { Store } from "./store.js" */

const MARKS = { suggested: "", accepted: "accepted", edited: "edited", rejected: "left out", added: "added" };

const ACTS = [["accept", "Enter", "accept"], ["reject", "X", "reject"], ["reopen", "Z", "suggestion again"], ["undo", "U", "undo"], ["list", "R", "back"]];

/** The running order: every cue, those left out too, with its reasons; arrows and keys work on it as in the chart. */
export class ListView {
  #dialog;
  #store;
  /** @type {string | null} */
  #chosen = null;

  /**
   * @param {HTMLDialogElement} dialog
   * @param {Store} store
   * @param {(id: string) => void} pressed a cue's row
   */
  constructor(dialog, store, pressed) {
    this.#dialog = dialog;
    this.#store = store;
    store.addEventListener("song", () => dialog.open && this.#draw());
    dialog.addEventListener("click", (event) => {
      const id = around(event, "tr")?.dataset.cue;
      if (id) pressed(id);
    });
  }

  get open() {
    return this.#dialog.open;
  }

  /** @param {string | null} id of the cue that is meant */
  show(id) {
    this.#chosen = id;
    this.#dialog.showModal();
    this.#draw();
  }

  close() {
    this.#dialog.close();
  }

  #draw() {
    const { cues, cautions, unplaced, taken_over: takenOver } = this.#store.page;
    const rows = cues.map((cue) =>
      el(
        "tr",
        { "data-cue": cue.id, class: cue.status, tabindex: "-1" },
        el("td", { class: "number" }, String(cue.number)),
        el("td", {}, cue.where),
        el("td", { class: "number" }, cue.clock),
        el("td", {}, cue.action, el("div", { class: "because" }, [cue.reasons.join(" "), ...cue.cautions, cue.note && `Note: ${cue.note}`].filter(Boolean).join(" · "))),
        el("td", {}, [MARKS[cue.status], cue.lock ? "locked" : ""].filter(Boolean).join(", ")),
      ),
    );
    const scroll = this.#dialog.querySelector(".scroll")?.scrollTop ?? 0;
    const head = ["Cue", "Place", "Time", "What the hand does, and why", "Decided"].map((word) => el("th", { scope: "col" }, word));
    this.#dialog.replaceChildren(
      el("div", { class: "top" }, el("h2", {}, "Running order"), ...ACTS.map(([id, key, words]) => el("button", { type: "button", "data-do": id }, el("kbd", {}, key), ` ${words}`))),
      el(
        "div",
        { class: "scroll", tabindex: "0", role: "region", "aria-label": "Running order" },
        el("table", {}, el("thead", {}, el("tr", {}, ...head)), el("tbody", {}, ...rows)),
        ...(takenOver.length ? [el("h3", {}, "From the other take"), ...takenOver.map((each) => el("p", {}, each))] : []),
        ...(unplaced.length ? [el("h3", {}, "Without a place"), ...unplaced.map((each) => el("p", {}, each))] : []),
        ...(cautions.length ? [el("h3", {}, "Take care"), ...cautions.map((each) => el("p", {}, each))] : []),
      ),
    );
    const rolled = find(".scroll", HTMLElement, this.#dialog);
    rolled.scrollTop = scroll;
    this.choose(this.#chosen);
    // Not on the button: Enter is for the cue.
    rolled.focus({ preventScroll: true });
  }

  /**
   * Show which cue is meant.
   *
   * @param {string | null} id
   */
  choose(id) {
    this.#chosen = id;
    for (const row of this.#dialog.querySelectorAll("tr")) {
      if (row.dataset.cue === undefined) continue;
      const chosen = row.dataset.cue === id;
      row.classList.toggle("chosen", chosen);
      if (chosen) row.scrollIntoView({ block: "nearest" });
    }
  }
}
