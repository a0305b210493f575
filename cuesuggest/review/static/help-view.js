// @ts-check
import { key, legend } from "./chart-view.js";
import { el } from "./dom.js";
import { COMMANDS, shown } from "./keys.js";

/** @import { Command } from "./keys.js" */
/** @import { Store } from "./store.js" */

const MENUS = { section: "S, then ", music: "M, then ", ends: "M, E, then ", sound: "V, then ", press: "then ", late: "L, then ", pressed: "done, then ", songs: "Shift S, then " };

/** Everything that the page does, each thing a button with its key; and what the chart's signs mean. */
export class HelpView {
  #dialog;
  #store;

  /**
   * @param {HTMLDialogElement} dialog
   * @param {Store} store
   */
  constructor(dialog, store) {
    this.#dialog = dialog;
    this.#store = store;
  }

  /** Open it, or close it where it is open. */
  turn() {
    if (this.#dialog.open) {
      this.#dialog.close();
      return;
    }
    const { chart, evening } = this.#store.page;
    const groups = Map.groupBy(COMMANDS, (each) => each.group);
    if (evening.of === 1 && !evening.night) groups.delete("Songs");
    this.#dialog.replaceChildren(
      el("div", { class: "top" }, el("h2", {}, "All acts and their keys"), el("button", { type: "button", "data-do": "help" }, "Back ", el("kbd", {}, "?"))),
      el(
        "div",
        { class: "scroll columns", tabindex: "0", autofocus: true, role: "region", "aria-label": "All acts and their keys" },
        ...[...groups].map(([name, rows]) => el("section", {}, el("h3", {}, name), el("ul", { class: "acts" }, ...rows.map(row)))),
        el("section", {}, el("h3", {}, "Signs"), el("ul", { class: "signs" }, ...legend(chart))),
        el("section", {}, el("h3", {}, "Words on the chart"), el("ul", { class: "short-words" }, ...key(chart))),
      ),
    );
    this.#dialog.showModal();
  }
}

/** @param {Command} command */
function row({ id, keys, label, when }) {
  const pressed = el("span", { class: "key" }, when ? MENUS[when] : "", el("kbd", {}, shown(keys[0])));
  return el("li", {}, el("button", { type: "button", "data-do": id }, pressed, el("span", {}, label)));
}
