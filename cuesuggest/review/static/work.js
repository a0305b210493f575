// @ts-check
/** @import { Page } from "./content.js" */

const HEARING = "Hearing anew";
const DRAFTING = "Drafting anew";
/** What an action asks for that takes more than a moment. @type {Record<string, string>} */
const WORK = {
  "bar-one": HEARING, shift: HEARING, swap: HEARING, half: HEARING, double: HEARING, tempo: HEARING, signature: HEARING,
  tapped: HEARING, form: HEARING, "boundary-move": HEARING, "boundary-add": HEARING, "boundary-remove": HEARING,
  forget: HEARING, "end-move": HEARING, "end-here": HEARING, "take-pressed": DRAFTING, category: DRAFTING, vamp: DRAFTING, undo: "Taking back", redo: "Making again",
};

/**
 * What is shown while an action is done; "" for one that is done at once.
 *
 * @param {string} what the action's name
 * @param {Record<string, unknown>} values
 * @param {Page} page
 */
export function workOf(what, values, page) {
  if (what !== "answer") return WORK[what] ?? "";
  const question = page.questions.find((each) => each.id === values.question);
  return question?.answers.find((each) => each.id === values.answer)?.hears ? HEARING : "";
}
