// @ts-check
import { el, find } from "./dom.js";

/**
 * One value that is asked for: a line, several lines, a number, or one of a list of [value, words].
 *
 * @typedef {object} Field
 * @property {string} name
 * @property {string} label
 * @property {"text" | "lines" | "number" | string[][]} kind
 * @property {string | number} [value] that it has before
 * @property {number} [min]
 * @property {number} [max]
 */

/**
 * What is done with the values that were given, as texts by name; returns why it cannot be done, or "" where it was.
 *
 * @typedef {(given: Record<string, string>) => Promise<string> | string} Use
 */

/** @type {Map<string, Record<string, string>>} by its song and title what was typed into a form that was left */
const left = new Map();

/**
 * Asks for values in a dialog. It stays open, with all that was typed, until they are taken; a form that was left has
 * them again when it is opened the next time.
 *
 * @param {HTMLDialogElement} dialog
 * @param {string} title
 * @param {Field[]} fields
 * @param {Use} use
 * @param {{done?: string, about?: string, of?: string}} [options] what the button says, a line above the fields, and
 *   the id of the song that it is about
 */
export function ask(dialog, title, fields, use, { done = "Save", about = "", of = "" } = {}) {
  const kept = JSON.stringify([of, title]);
  const before = left.get(kept);
  const inputs = fields.map((field) => ({ field, each: input(field, before?.[field.name]) }));
  const several = fields.some((field) => field.kind === "lines");
  const wrong = el("p", { class: "wrong", role: "alert" });
  const finish = el("button", { value: "done", class: "first" }, `${done} `, el("kbd", {}, several ? "Ctrl Enter" : "Enter"));
  const form = el(
    "form",
    { method: "dialog" },
    el("h2", { id: "ask-title" }, title),
    about ? el("p", { class: "about" }, about) : null,
    before ? el("p", { class: "about" }, "As you left it; not saved yet.") : null,
    ...inputs.map(({ field, each }) => el("label", {}, el("span", {}, field.label), each)),
    wrong,
    el("div", { class: "buttons" }, finish, leaving()),
  );
  const given = () => Object.fromEntries(inputs.map(({ field, each }) => [field.name, each.value]));
  const { signal, close } = opened(dialog, form, () => {
    if (inputs.some(({ field, each }) => each.value !== String(field.value ?? first(field)))) left.set(kept, given());
    else left.delete(kept);
  });
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (finish.ariaBusy === "true") return;
    const values = given();
    left.set(kept, values);
    finish.ariaBusy = "true";
    wrong.textContent = "";
    const refused = await use(values);
    finish.ariaBusy = "false";
    if (!refused) left.delete(kept);
    if (signal.aborted) return;
    if (refused) wrong.textContent = refused;
    else close();
  }, { signal });
  dialog.addEventListener("keydown", (event) => {
    // In a text of several lines Enter makes a line; with Ctrl it is done. A list of choices would open.
    const ends = event.ctrlKey || event.metaKey || event.target instanceof HTMLSelectElement;
    if (event.key !== "Enter" || !ends) return;
    event.preventDefault();
    form.requestSubmit();
  }, { signal });
  const start = inputs[0]?.each;
  start?.focus();
  if (start && !(start instanceof HTMLSelectElement)) start.select();
}

/**
 * Asks whether something that is much is meant. Enter leaves it.
 *
 * @param {HTMLDialogElement} dialog
 * @param {string} title
 * @param {string[]} lines what it is about
 * @param {{done: string, key: string}} options what the button says, and the letter that is pressed for it
 * @param {() => unknown} use
 */
export function confirm(dialog, title, lines, { done, key }, use) {
  const yes = el("button", { type: "button" }, `${done} `, el("kbd", {}, key.toUpperCase()));
  const form = el(
    "form",
    { method: "dialog" },
    el("h2", { id: "ask-title" }, title),
    el("ul", {}, ...lines.map((each) => el("li", {}, each))),
    el("div", { class: "buttons" }, yes, leaving()),
  );
  const { signal, close } = opened(dialog, form);
  const go = () => {
    close();
    use();
  };
  yes.addEventListener("click", go, { signal });
  dialog.addEventListener("keydown", (event) => {
    if (event.key.toLowerCase() !== key) return;
    event.preventDefault();
    go();
  }, { signal });
  find("[data-leave]", HTMLButtonElement, form).focus();
}

/** The button that leaves a form. */
export const leaving = () => el("button", { value: "", formnovalidate: true, type: "button", "data-leave": true }, "Leave ", el("kbd", {}, "Esc"));

/**
 * Open the dialog with a form.
 *
 * @param {HTMLDialogElement} dialog
 * @param {HTMLFormElement} form
 * @param {() => void} [leave] done when it is left
 */
export function opened(dialog, form, leave = () => {}) {
  const end = new AbortController();
  const { signal } = end;
  const close = () => {
    end.abort();
    // The browser gives the focus back a moment later; a key in between belongs to the chart.
    if (document.activeElement instanceof HTMLElement) document.activeElement.blur();
    dialog.close();
  };
  dialog.replaceChildren(form);
  const quit = () => {
    leave();
    close();
  };
  find("[data-leave]", HTMLButtonElement, form).addEventListener("click", quit, { signal });
  dialog.addEventListener("cancel", quit, { signal });
  // By itself, the browser closes it a moment later, and the key after it goes to nobody.
  dialog.addEventListener("keydown", (event) => {
    if (event.key !== "Escape" || event.isComposing) return;
    event.preventDefault();
    quit();
  }, { signal });
  dialog.showModal();
  return { signal, close };
}

/** What a field has that no value was given for. @param {Field} field */
const first = (field) => (Array.isArray(field.kind) ? field.kind[0][0] : "");

/**
 * @param {Field} field
 * @param {string | undefined} before what was typed into it before
 */
function input(field, before) {
  const value = before ?? String(field.value ?? first(field));
  if (Array.isArray(field.kind)) {
    const made = el("select", { name: field.name });
    for (const [each, words] of field.kind) made.append(el("option", { value: each }, words));
    made.value = value;
    return made;
  }
  if (field.kind === "lines") {
    const made = el("textarea", { name: field.name, rows: 6, maxlength: 20000, spellcheck: "false" });
    made.value = value;
    return made;
  }
  const limits = field.kind === "number" ? { type: "number", min: field.min, max: field.max, step: "any" } : { type: "text", maxlength: 2000 };
  const made = el("input", { name: field.name, autocomplete: "off", ...limits });
  made.value = value;
  return made;
}
