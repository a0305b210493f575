// @ts-check
import { el, svg } from "./dom.js";

/** @import { NightMoment, NightOfSong, ShownNight } from "./content.js" */

const WIDE = 1000; // units of the drawing, which is as wide as the list
const HIGH = 96;
const APART = 8; // between two songs
const SIGN = 9; // radius of the sign of a big moment

/**
 * How hard the songs of a night push, one after the other, as one line with its biggest moments.
 *
 * @param {ShownNight} night
 */
export function energyLine(night) {
  const { songs, moments } = night;
  const seconds = songs.reduce((sum, each) => sum + each.seconds, 0) || 1;
  const scale = (WIDE - APART * (songs.length - 1)) / seconds;
  const words = moments.map((each, k) => `${k + 1} ${each.words}`).join("; ");
  const said = words ? `Energy of the night. Biggest moments: ${words}.` : "Energy of the night.";
  const drawn = svg("svg", { viewBox: `0 0 ${WIDE} ${HIGH + 22}`, role: "img", "aria-label": said });
  let x = 0;
  for (const song of songs) {
    drawn.append(...songDrawn(song, x, scale, moments));
    x += song.seconds * scale + APART;
  }
  return el("figure", { class: "energy" }, drawn, el("figcaption", {}, said));
}

/**
 * @param {NightOfSong} song
 * @param {number} x where it begins
 * @param {number} scale units a second
 * @param {NightMoment[]} moments
 */
function songDrawn(song, x, scale, moments) {
  const top = 2 * SIGN + 6;
  const y = (/** @type {number} */ drive) => HIGH - drive * (HIGH - top);
  const at = (/** @type {number} */ second) => x + second * scale;
  const path = song.energy.map(([start, end, drive], k) => `${k ? "L" : "M"}${at(start)} ${y(drive)}H${at(end)}`).join("");
  const made = [
    svg("path", { class: "floor", d: `M${x} ${HIGH}H${at(song.seconds)}` }),
    svg("path", { class: "drive", d: path || `M${x} ${HIGH}` }),
    text(song.number, at(song.seconds / 2), HIGH + 17),
  ];
  moments.forEach((each, k) => {
    if (each.number !== song.number) return;
    const cx = Math.min(Math.max(at(each.at), SIGN), WIDE - SIGN);
    const cy = y(each.drive) - SIGN - 3;
    made.push(svg("circle", { class: "moment", cx, cy, r: SIGN }), text(k + 1, cx, cy + 4.5));
  });
  return made;
}

/**
 * @param {number} number
 * @param {number} x
 * @param {number} y
 */
function text(number, x, y) {
  const made = svg("text", { x, y, "text-anchor": "middle" });
  made.textContent = String(number);
  return made;
}

/** The looks that the songs share, and where each lies. @param {ShownNight} night */
export function sharedLooks(night) {
  if (!night.looks.length) return null;
  const items = night.looks.map(({ name, button, songs }) => el("li", {}, el("strong", {}, name), `: ${[button, songs].filter(Boolean).join(", ")}`));
  return el("section", { class: "shared" }, el("h3", {}, "Looks to build, the smallest first"), el("ul", {}, ...items));
}
