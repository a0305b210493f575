// @ts-check
import { svg } from "./dom.js";

/** @import { Chart, ChartLine } from "./content.js" */

const DOTS = [0.36, 0.64]; // between the staff's top and base

/**
 * What goes round, drawn as music is written: a repeat sign where it begins and where it ends, a line between them.
 * Without an end, only the first sign.
 *
 * @param {Chart} chart
 * @param {number} start
 * @param {number | null} end
 */
export function repeatSigns(chart, start, end) {
  return chart.lines.flatMap((line) => {
    const first = line.bars[0].start;
    const last = line.bars[line.bars.length - 1].end;
    const made = [];
    if (end !== null && start < last - 0.005 && end > first + 0.005) {
      const [from, to] = [across(line, Math.max(start, first)), across(line, Math.min(end, last))];
      made.push(svg("path", { class: "round", d: `M${from} ${line.y + line.staff_top}H${to}` }));
    }
    if (start >= first - 0.005 && start < last - 0.005) made.push(...sign(line, across(line, start), 1));
    if (end !== null && end > first + 0.005 && end <= last + 0.005) made.push(...sign(line, across(line, end), -1));
    return made;
  });
}

/**
 * A thick line, a thin one, two dots on the side of what is repeated.
 *
 * @param {ChartLine} line
 * @param {number} x
 * @param {1 | -1} way
 */
function sign(line, x, way) {
  const [top, base] = [line.y + line.staff_top, line.y + line.staff_base];
  return [
    svg("path", { class: "round thick", d: `M${x + way} ${top}V${base}` }),
    svg("path", { class: "round", d: `M${x + 5 * way} ${top}V${base}` }),
    ...DOTS.map((part) => svg("circle", { class: "round", cx: x + 9 * way, cy: top + part * (base - top), r: 1.8 })),
  ];
}

/**
 * Where a time stands in a line.
 *
 * @param {ChartLine} line
 * @param {number} seconds
 */
function across(line, seconds) {
  const bar = line.bars.findLast((each) => each.start <= seconds + 0.005) ?? line.bars[0];
  const part = Math.min(1, Math.max(0, (seconds - bar.start) / (bar.end - bar.start)));
  return Math.round((line.x + bar.x + part * bar.width) * 10) / 10;
}
