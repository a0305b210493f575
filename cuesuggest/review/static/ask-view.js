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
 * Asks for values in a dialog.
 *
 * @param {HTMLDialogElement} dialog
 * @param {string} title
 * @param {Field[]} fields
 * @param {{done?: string, about?: string}} [options] what the button says, and a line above the fields
 * @returns {Promise<Record<string, string> | null>} texts by name, or null when it was left
 */
export function ask(dialog, title, fields, { done = "Save", about = "" } = {}) {
  const inputs = fields.map((field) => ({ field, each: input(field) }));
  const form = el(
    "form",
    { method: "dialog" },
    el("h2", { id: "ask-title" }, title),
    about ? el("p", { class: "about" }, about) : null,
    ...inputs.map(({ field, each }) => el("label", {}, el("span", {}, field.label), each)),
    el(
      "div",
      { class: "buttons" },
      el("button", { value: "done", class: "first" }, `${done} `, el("kbd", {}, "Enter")),
      el("button", { value: "", formnovalidate: true, type: "button", "data-leave": true }, "Leave ", el("kbd", {}, "Esc")),
    ),
  );
  dialog.replaceChildren(form);
  return new Promise((resolve) => {
    const end = new AbortController();
    /** @param {Record<string, string> | null} values */
    const finish = (values) => {
      end.abort();
      dialog.close();
      resolve(values);
    };
    const { signal } = end;
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      finish(Object.fromEntries(inputs.map(({ field, each }) => [field.name, each.value])));
    }, { signal });
    find("[data-leave]", HTMLButtonElement, form).addEventListener("click", () => finish(null), { signal });
    dialog.addEventListener("cancel", () => finish(null), { signal });
    dialog.addEventListener("keydown", (event) => {
      // In a text of several lines Enter makes a line; with Ctrl it is done. A list of choices would open.
      const ends = event.ctrlKey || event.metaKey || event.target instanceof HTMLSelectElement;
      if (event.key !== "Enter" || !ends) return;
      event.preventDefault();
      form.requestSubmit();
    }, { signal });
    dialog.showModal();
    const first = inputs[0]?.each;
    first?.focus();
    if (first && !(first instanceof HTMLSelectElement)) first.select();
  });
}

/** @param {Field} field */
function input(field) {
  if (Array.isArray(field.kind)) {
    const made = el("select", { name: field.name });
    for (const [value, words] of field.kind) made.append(el("option", { value }, words));
    made.value = String(field.value ?? "");
    return made;
  }
  if (field.kind === "lines") {
    const made = el("textarea", { name: field.name, rows: 6, maxlength: 20000, spellcheck: "false" });
    made.value = String(field.value ?? "");
    return made;
  }
  const limits = field.kind === "number" ? { type: "number", min: field.min, max: field.max, step: "any" } : { type: "text", maxlength: 2000 };
  const made = el("input", { name: field.name, autocomplete: "off", ...limits });
  made.value = String(field.value ?? "");
  return made;
}
