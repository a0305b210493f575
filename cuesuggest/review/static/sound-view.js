// @ts-check
import { el } from "./dom.js";

/** @import { Chosen } from "./content.js" */
/** @import { Player } from "./player.js" */

/**
 * What is heard and how wide the chart is written: a line of words for each, with what changes it.
 *
 * @param {Player} player
 * @param {Chosen} chosen
 * @param {number} bars a line as they are drawn
 * @param {(id: string, words: string) => HTMLElement} button of a command
 */
export function soundMenu(player, chosen, bars, button) {
  /**
   * @param {string} words
   * @param {Record<string, string>} acts words by the command's id
   */
  const row = (words, acts) =>
    el("div", { class: "row" }, el("span", {}, words), ...Object.entries(acts).map(([id, said]) => button(id, said)));
  return el(
    "div",
    { class: "rows" },
    row(`The song at ${chosen.song} %`, { "song-softer": "softer", "song-louder": "louder" }),
    row(`The click at ${chosen.click} %, ${player.click ? "on" : "off"}`, { "click-softer": "softer", "click-louder": "louder", click: player.click ? "no click" : "click" }),
    row(`At ${player.rate === 1 ? "full speed" : `${player.rate} of its speed`}`, { slower: "slower", faster: "faster" }),
    row(`${bars} bars a line`, { "bars-a-line": bars > 4 ? "wider bars" : "narrower bars" }),
  );
}
