// @ts-check
import { fetchExport, Refused } from "./api.js";
import { leaving, opened } from "./ask-view.js";
import { el, find } from "./dom.js";

/** @import { Export } from "./content.js" */
/** @import { Store } from "./store.js" */

const STAY = "The cue numbers stay as they are from now on.";

/** The dialog that takes files out of the page. What was chosen stays until the window is closed. */
export class ExportView {
  #dialog;
  #store;
  #say;
  #files = new Set([".page.pdf"]);
  #given = { paper: "a4", who: "", plain: false, into: "downloads", folder: "", songs: "this" };

  /**
   * @param {HTMLDialogElement} dialog
   * @param {Store} store
   * @param {(said: string, wrong: boolean) => void} say
   */
  constructor(dialog, store, say) {
    this.#dialog = dialog;
    this.#store = store;
    this.#say = say;
  }

  show() {
    const { exports, cues } = this.#store.page;
    const people = [...new Set(cues.filter((cue) => cue.status !== "rejected").map((cue) => cue.who))];
    const given = this.#given;
    if (!people.includes(given.who)) given.who = "";
    const folder = el("label", { hidden: given.into !== "folder" }, el("span", {}, "In a folder there"), text(given.folder));
    const into = choice("into", [["downloads", "to the browser's downloads"], ["folder", "beside the document"]], given.into);
    const { of } = this.#store.page.evening;
    const which = choice("songs", [["this", "this song"], ["all", `all ${of} songs`]], given.songs);
    const form = el(
      "form",
      { method: "dialog" },
      el("h2", { id: "export-title" }, "Export"),
      el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "What to export" }, ...exports.map((each) => this.#format(each))),
      el(
        "div",
        { class: "how" },
        el("label", { hidden: of === 1 }, el("span", {}, "Which songs"), which),
        el("label", {}, el("span", {}, "Paper"), choice("paper", [["a4", "A4"], ["letter", "Letter"]], given.paper)),
        el("label", {}, el("span", {}, "Whose list"), choice("who", [["", "everybody's"], ...people.map((who) => [who, who])], given.who)),
        el("label", {}, el("span", {}, "The files go"), into),
        folder,
        el("label", { class: "check" }, el("input", { type: "checkbox", name: "plain", checked: given.plain }), "For a volunteer: fewer actions, no lasers"),
      ),
      el("p", { class: "wrong", role: "alert" }),
      el(
        "div",
        { class: "buttons" },
        el("button", { class: "first" }, "Export ", el("kbd", {}, "Enter")),
        el("button", { type: "button", class: "replace", hidden: true }, "Replace what is there"),
        leaving(),
      ),
    );
    into.addEventListener("change", () => {
      folder.hidden = into.value !== "folder";
    });
    form.addEventListener("change", () => this.#alert(""));
    const shown = opened(this.#dialog, form);
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.#export(form, shown, false);
    });
    find(".replace", HTMLButtonElement, form).addEventListener("click", () => this.#export(form, shown, true));
    find("input", HTMLInputElement, form).focus();
  }

  /** @param {Export} format */
  #format({ purpose, files }) {
    const boxes = files.map((ending) => {
      const box = el("input", { type: "checkbox", name: "files", value: ending, checked: this.#files.has(ending) });
      return el("label", { class: "check" }, box, ending.slice(1));
    });
    return el("fieldset", {}, el("legend", {}, purpose[0].toUpperCase() + purpose.slice(1)), ...boxes);
  }

  /** @param {string[]} names */
  #written(names) {
    return names.length > 8 ? `${names.length} files are written beside their documents.` : `Written beside the document: ${names.join(", ")}.`;
  }

  /**
   * What stands in the way, and whether it could be replaced.
   *
   * @param {string} said
   * @param {boolean} replace
   */
  #alert(said, replace = false) {
    find("[role=alert]", HTMLElement, this.#dialog).textContent = said;
    find(".replace", HTMLButtonElement, this.#dialog).hidden = !replace;
  }

  /**
   * @param {HTMLFormElement} form
   * @param {ReturnType<typeof opened>} shown
   * @param {boolean} replace files that are there
   */
  async #export(form, { signal, close }, replace) {
    const first = find(".first", HTMLButtonElement, form);
    if (first.ariaBusy === "true") return;
    // A form that was left meanwhile is gone; another may be open.
    const stopped = (/** @type {string} */ said, there = false) => (signal.aborted ? this.#say(said, true) : this.#alert(said, there));
    const data = new FormData(form);
    const value = (/** @type {string} */ name) => String(data.get(name) ?? "");
    this.#files = new Set(data.getAll("files").map(String));
    this.#given = { paper: value("paper"), who: value("who"), plain: data.has("plain"), into: value("into"), folder: value("folder"), songs: value("songs") };
    this.#alert(this.#given.songs === "all" ? "The files are being made…" : "");
    first.ariaBusy = "true";
    try {
      const out = await fetchExport(this.#store.song, { files: [...this.#files], ...this.#given, replace });
      if ("there" in out) {
        const one = out.there.length === 1;
        stopped(`${out.there.join(", ")} ${one ? "is" : "are"} there already. Nothing was written.`, true);
        return;
      }
      if (!signal.aborted) close();
      if ("blob" in out) keep(out.name, out.blob);
      await this.#store.load();
      const done = "blob" in out ? `Exported: ${out.name}.` : this.#written(out.written);
      const left = out.left_out.length ? ` Left out: ${out.left_out.join(" ")}` : "";
      this.#say(`${done} ${STAY}${left}`, false);
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      stopped(error.message);
      this.#store.look();
    } finally {
      first.ariaBusy = "false";
    }
  }
}

/** @param {string} value */
const text = (value) => {
  const made = el("input", { name: "folder", type: "text", maxlength: 200, autocomplete: "off", spellcheck: "false", placeholder: "none" });
  made.value = value;
  return made;
};

/**
 * @param {string} name
 * @param {string[][]} choices
 * @param {string} value
 */
function choice(name, choices, value) {
  const made = el("select", { name });
  for (const [each, words] of choices) made.append(el("option", { value: each }, words));
  made.value = value;
  return made;
}

/**
 * Hand a file to the browser.
 *
 * @param {string} name
 * @param {Blob} blob
 */
function keep(name, blob) {
  const link = el("a", { href: URL.createObjectURL(blob), download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}
