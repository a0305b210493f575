// @ts-check
import { postNight, Refused } from "./api.js";
import { el, find } from "./dom.js";

/** @import { NightControls, NightTold } from "./content.js" */

const LOOK = "Say what would change";
const CHANGE = "Change all songs";
const YES_OR_NO = [
  ["no_haze", "There is no haze"],
  ["volunteer", "Somebody plays who does it once a week"],
  ["restrain", "Keep the night's biggest look for where it counts"],
];

/**
 * The sound check: what changes every song of a night at once. One button says what that would be, then does it;
 * another takes the last change back.
 */
export class SoundCheckView {
  element = el("form", { class: "night-check", "aria-labelledby": "night-check-title" });
  #leave;
  #changed;
  /** @type {NightControls | null} */
  #controls = null;
  /** What was looked at; "" where what is chosen was not looked at yet. */
  #seen = "";
  /** What was chosen when it was looked at. */
  #about = "";
  #fields = el("div", { class: "chosen-for-all" });
  #told = el("div", { class: "told-of-songs" });
  #wrong = el("p", { class: "wrong", role: "alert" });
  #work = el("p", { class: "work", role: "status" });
  #go = el("button", { class: "first" });
  #undo = el("button", { type: "button", class: "take-back" });

  /**
   * @param {() => void} leave done when it is left
   * @param {(said: string) => Promise<void>} changed done when songs were changed
   */
  constructor(leave, changed) {
    this.#leave = leave;
    this.#changed = changed;
    const back = el("button", { type: "button", "data-leave": true }, "All songs ", el("kbd", {}, "Esc"));
    const { element } = this;
    element.append(
      el("div", { class: "scroll", tabindex: "0", role: "region", "aria-labelledby": "night-check-title" }, this.#fields, this.#told),
      this.#wrong,
      this.#work,
      el("div", { class: "buttons" }, this.#go, this.#undo, back),
    );
    this.#offer();
    back.addEventListener("click", leave);
    this.#undo.addEventListener("click", (event) => event.detail < 2 && this.#do("undo"));
    for (const name of ["input", "change"]) element.addEventListener(name, () => this.#compare());
    element.addEventListener("submit", (event) => {
      event.preventDefault();
      this.#do(this.#seen ? "change" : "look");
    });
    // The second half of a double press was not meant for what the button says by then.
    this.#go.addEventListener("click", (event) => event.detail > 1 && event.preventDefault());
    element.addEventListener("keydown", (event) => this.#key(event));
  }

  /** Whether it is shown. */
  get open() {
    return this.element.isConnected;
  }

  /**
   * Offer what can be chosen; what was chosen and can still be stays so.
   *
   * @param {NightControls} controls
   */
  offer(controls) {
    if (JSON.stringify(controls) === JSON.stringify(this.#controls)) return;
    const focused = document.activeElement instanceof HTMLInputElement ? document.activeElement : null;
    const kept = this.#chosen;
    this.#controls = controls;
    this.#forget();
    const [least, most] = controls.ceiling;
    const checks = (/** @type {string} */ name, /** @type {string[][]} */ choices, /** @type {string[]} */ now) =>
      choices.map(([value, words]) => el("label", { class: "check" }, el("input", { type: "checkbox", name, value, checked: now.includes(value) }), words));
    const group = (/** @type {string} */ title, /** @type {HTMLElement[]} */ labels) => (labels.length ? el("fieldset", {}, el("legend", {}, title), ...labels) : null);
    const rig = el("select", { name: "rig" }, el("option", { value: "" }, "as each song has it"), ...controls.rigs.map((name) => el("option", { value: name }, name)));
    rig.value = controls.rigs.includes(kept.rig ?? "") ? (kept.rig ?? "") : "";
    const ceiling = el("input", { type: "number", name: "ceiling", min: least, max: most, step: 1, inputmode: "numeric", placeholder: "no limit", value: kept.ceiling });
    const parts = [
      group("Do without", checks("without", controls.without, kept.without)),
      el("label", {}, el("span", {}, `No look above, % (${least} to ${most})`), ceiling),
      group("Also", YES_OR_NO.flatMap(([name, words]) => checks(name, [["yes", words]], kept.flags.has(name) ? ["yes"] : []))),
      el("label", {}, el("span", {}, "Play on the rig"), rig),
      group("Not played tonight", checks("drop", controls.drop, kept.drop)),
    ];
    this.#fields.replaceChildren(...parts.filter((each) => each !== null));
    this.#undo.hidden = controls.undo === null;
    this.#undo.replaceChildren(`Take back: ${controls.undo}`);
    if (this.open && !this.element.contains(document.activeElement)) this.begin();
    if (focused) [...this.#fields.querySelectorAll("input")].find((each) => each.name === focused.name && each.value === focused.value)?.focus();
  }

  /** Begin: at the first of what can be chosen. */
  begin() {
    this.#seen = "";
    this.#offer();
    this.#told.replaceChildren();
    this.#wrong.textContent = "";
    this.element.querySelector("input")?.focus();
  }

  /** What is chosen now. */
  get #chosen() {
    const data = new FormData(this.element);
    const all = (/** @type {string} */ name) => data.getAll(name).map(String);
    return {
      without: all("without"),
      drop: all("drop"),
      ceiling: String(data.get("ceiling") ?? ""),
      rig: String(data.get("rig") ?? ""),
      flags: new Set(YES_OR_NO.map(([name]) => name).filter((name) => data.has(name))),
    };
  }

  /** As the server is asked for it; nothing of what is not chosen. */
  get #values() {
    const { without, drop, ceiling, rig, flags } = this.#chosen;
    const one = { ...(ceiling ? { ceiling: Number(ceiling) } : {}), ...(rig ? { rig } : {}) };
    return { without, drop, ...one, ...Object.fromEntries([...flags].map((name) => [name, true])) };
  }

  /** What was told counts for what was chosen then; a field that is left says that it has changed once more. */
  #compare() {
    if (JSON.stringify(this.#values) !== this.#about) this.#forget();
  }

  #forget() {
    if (this.#seen) this.#told.replaceChildren();
    this.#seen = "";
    this.#offer();
  }

  #offer() {
    this.#go.replaceChildren(this.#seen ? CHANGE : LOOK, " ", el("kbd", {}, "Enter"));
  }

  /** @param {"look" | "change" | "undo"} what */
  async #do(what) {
    if (this.#work.textContent) return;
    this.#wrong.textContent = "";
    this.#work.textContent = what === "look" ? "Every song is being looked at…" : "Every song is being changed…";
    this.#about = JSON.stringify(this.#values);
    try {
      const told = await postNight({ do: what, ...this.#values, seen: this.#seen });
      this.#take(what, told);
      if (what !== "look") await this.#changed(`Sound check: ${heading(what, told)}`);
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      this.#forget();
      this.#wrong.textContent = error.message;
      // It was on what is told no more.
      if (!this.element.contains(document.activeElement)) this.#go.focus();
    } finally {
      this.#work.textContent = "";
    }
  }

  /**
   * @param {"look" | "change" | "undo"} what
   * @param {NightTold} told
   */
  #take(what, told) {
    const news = told.told.some((song) => song.changed);
    if (what !== "look") this.#reset();
    this.#seen = what === "look" && news ? told.seen : "";
    this.#offer();
    const title = el("h3", { tabindex: "-1" }, heading(what, told));
    this.#told.replaceChildren(
      title,
      ...told.told.map(({ number, title: name, lines }) =>
        el("section", {}, el("h4", {}, `${number || ""} ${name}`.trim()), el("ul", {}, ...lines.map((each) => el("li", {}, each)))),
      ),
    );
    title.focus();
    title.scrollIntoView({ block: "start" });
    if (what === "look") this.#compare();
  }

  /** Nothing is chosen any more: it was done. */
  #reset() {
    for (const box of this.element.querySelectorAll("input")) {
      if (box.type === "checkbox") box.checked = false;
      else box.value = "";
    }
    find("select", HTMLSelectElement, this.element).value = "";
  }

  /** @param {KeyboardEvent} event */
  #key(event) {
    if (event.key === "Escape" && !event.isComposing) {
      event.preventDefault();
      this.#leave();
    }
    // On a box and a list of choices, too, it presses the button; a key that is held down is one press.
    if (event.key !== "Enter" || (event.target instanceof HTMLButtonElement && !event.repeat)) return;
    event.preventDefault();
    if (!event.repeat) this.element.requestSubmit();
  }
}

/**
 * @param {"look" | "change" | "undo"} what
 * @param {NightTold} told
 */
function heading(what, { told, said }) {
  if (what === "undo") return `Taken back: ${said}.`;
  if (!told.some((song) => song.changed)) return what === "look" ? "Nothing would change." : "Nothing was changed.";
  return what === "look" ? "What would change" : `Changed: ${said}.`;
}
