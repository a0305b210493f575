// @ts-check
import { counted } from "./coming.js";
import { el } from "./dom.js";
import { besideWords, closeTogether, controlOf, rowsOf, timesOf, timesWords } from "./through.js";

/** @import { Act, Attempt, Judge } from "./through.js" */

/** @param {Attempt[]} attempts @param {number} strays */
function total(attempts, strays) {
  if (!attempts.length) return strays ? "No press was near anything that was due." : "Nothing was due yet.";
  return `${timesWords(timesOf(attempts))}${strays ? `; ${counted(strays, "press", "presses")} with nothing due` : ""}.`;
}

/**
 * What is shown at the end: all of it in a sentence, what to practise, each cue with a way into its loop.
 *
 * @param {Judge} judge
 * @param {Act[]} acts all of the song's
 */
export function summaryOf({ attempts, strays }, acts) {
  const [rows, close] = [rowsOf(attempts), closeTogether(acts)];
  const head = ["Cue", "Place", "What the hand does", "How it went", "On average", "Practise"].map((word) => el("th", { scope: "col" }, word));
  const practise = rows.filter((row) => row.practise).map((row) => row.act.number);
  return [
    el("h3", {}, "How it went"),
    el("p", { class: "total" }, total(attempts, strays)),
    el("p", { class: "needs" }, practise.length ? `To practise: cue ${practise.join(", ")}.` : rows.length ? "No cue that was tried needs practice." : ""),
    el(
      "div",
      { class: "keys" },
      el("button", { type: "button", "data-step": "play" }, el("kbd", {}, "Enter"), " go on"),
      el("button", { type: "button", "data-step": "again" }, "again from the start"),
      el("button", { type: "button", "data-step": "leave" }, el("kbd", {}, "Esc"), " back to the chart"),
    ),
    el(
      "div",
      { class: "scroll", tabindex: "0", role: "region", "aria-label": "How each cue went" },
      rows.length ? el("table", {}, el("thead", {}, el("tr", {}, ...head)), el("tbody", {}, ...rows.map(line))) : null,
      ...(close.length ? [el("h3", {}, "Closer together than a second"), ...close.map((each) => el("p", {}, closeWords(each)))] : []),
    ),
  ];
}

/** @param {ReturnType<typeof closeTogether>[number]} pair */
const closeWords = ({ first, second, apart }) =>
  `Cue ${first.number} (${first.action}) and cue ${second.number} (${second.action}), ${first.where}: ${Math.round(apart * 1000)} ms apart.`;

/** @param {ReturnType<typeof rowsOf>[number]} row */
function line({ act, times, wrong, mean, practise }) {
  return el(
    "tr",
    { class: practise ? "practise" : false },
    el("td", { class: "number" }, String(act.number)),
    el("td", {}, act.where),
    el("td", {}, act.action),
    el("td", {}, timesWords(times) + (wrong.length ? ` (${wrong.join(", ")} instead of ${controlOf(act)})` : "")),
    el("td", { class: "mean" }, mean === null ? "" : besideWords(mean)),
    el("td", {}, el("button", { type: "button", "data-loop": act.cue, "aria-label": `Loop cue ${act.number}` }, "loop this")),
  );
}
