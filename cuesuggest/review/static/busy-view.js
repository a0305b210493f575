// @ts-check
import { el, listen } from "./dom.js";

/** @import { Told } from "./content.js" */
/** @import { Held } from "./held.js" */
/** @import { Store } from "./store.js" */

/** What the page is at, above the desk: that the song is heard anew, and large that something was not saved. */
export class BusyView {
  /**
   * @param {HTMLElement} work
   * @param {HTMLElement} unsaved
   * @param {Store} store
   * @param {Held} held
   */
  constructor(work, unsaved, store, held) {
    store.addEventListener("busy", () => {
      const keys = held.count ? ` ${held.count} key${held.count === 1 ? " waits" : "s wait"} until then.` : "";
      work.textContent = store.busy ? `${store.busy}…${keys}` : "";
    });
    listen(store, "told", (/** @type {Told} */ told) => {
      if (told.wrong) held.drop();
      // What only asks has nothing to save, and takes no word of it away.
      if (told.wrong && !told.unsaved) return;
      unsaved.hidden = !told.unsaved;
      // Anew each time, so that it is also read out again.
      unsaved.replaceChildren(...(told.unsaved ? [el("strong", {}, "Not saved."), el("span", {}, ` ${told.said}`)] : []));
    });
  }
}
