import { ChartView } from "./chart-view.js";
import { commands } from "./commands.js";
import { DeskView } from "./desk-view.js";
import { el } from "./dom.js";
import { Hand } from "./hand.js";
import { keyOf, meant } from "./keys.js";
import { brightness, FlashLimit } from "./light.js";
import { ListView } from "./list-view.js";
import { placeAt } from "./places.js";
import { Player } from "./player.js";
import { Store } from "./store.js";

const LOOK_EVERY = 3000; // ms
const find = (id) => document.getElementById(id);

/** How many bars side by side the window has room for, and how wide the chart may be at its own size. */
function room() {
  const width = find("chart").clientWidth - 32;
  const bars = width >= 1100 ? 16 : width >= 560 ? 8 : 4;
  return { bars, width: Math.max(300, chart.widthIn(chart.scale)) };
}

const store = new Store(room);
const player = new Player(find("sound"));
const hand = new Hand();
const chart = new ChartView(find("chart"), store, {
  bar: (seconds) => player.seek(seconds),
  cue: (id) => {
    hand.set({ cue: id, question: null });
    if (!player.playing) player.seek(store.cue(id).seconds);
  },
});
const desk = new DeskView(find("desk"), store, player, hand);
const list = new ListView(find("list"), store);
const run = commands({ store, player, hand, desk, list, askDialog: find("ask"), helpDialog: find("help") });

// What is open on the page decides what a key means.

function heardInTap(key) {
  return { t: "tap-beat", Enter: "tap-done", Escape: "leave", Space: "play" }[key];
}

function answerTo(key) {
  const question = store.page.questions.find((each) => each.id === hand.now.question);
  return question?.answers[Number(key) - 1]?.id ?? null;
}

function commandFor(key) {
  const { mode, question } = hand.now;
  if (mode === "tap") return heardInTap(key);
  if (key === "Escape") return find("conflict").hidden ? "leave" : "show-now";
  if (!find("conflict").hidden && (key === "f" || key === "w")) return find("conflict").querySelector(`[data-key="${key}"]`)?.dataset.do;
  if (!mode && question) {
    if (answerTo(key) !== null) return `answer:${answerTo(key)}`;
    if (key === "q" && !player.playing) return "listen";
  }
  return (meant(key, mode) ?? (mode && !["Enter"].includes(key) ? meantOutside(key) : null))?.id;
}

/** Listening goes on while a menu is open. */
function meantOutside(key) {
  return key === "Space" ? meant(key, "") : null;
}

function perform(id) {
  if (!store.page) return;
  if (id.startsWith("answer:")) run.answer(id.slice(7));
  else run[id]?.();
}

document.addEventListener("keydown", (event) => {
  if (!store.page || event.altKey || event.isComposing) return;
  if (event.target.closest("input, textarea, select, #ask")) return;
  const key = keyOf(event);
  const onButton = event.target.closest("button");
  if (onButton && (key === "Enter" || key === "Space")) return;
  const dialog = document.querySelector("dialog[open]");
  const id = commandFor(key);
  if (!id || (dialog && key === "Escape")) return;
  if (dialog?.id === "help" && id !== "help") return;
  event.preventDefault();
  perform(id);
});

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-do]");
  if (!button) return;
  // After a press with the mouse the keys belong to the chart again.
  if (event.detail > 0) button.blur();
  perform(button.dataset.do);
});

run.patch = () => {
  const fast = store.page?.light.shots.some(([, , crowded]) => crowded);
  hand.set({ patch: (hand.now.patch + 1) % (fast ? 3 : 2) });
};

// The picture follows the sound's own clock.

let before = null;
const limit = new FlashLimit();

function picture() {
  requestAnimationFrame(picture);
  if (!store.page) return;
  player.keepLoop();
  const seconds = player.seconds;
  const { beatStart } = placeAt(store.page.music, seconds);
  if (beatStart !== before || !player.playing) {
    if (beatStart !== before) follow(seconds);
    chart.mark(player.playing ? beatStart : seconds, beatStart !== before);
    before = beatStart;
  }
  desk.place();
  if (hand.now.patch) {
    // Also after a change that is shown at once: what it does to the light comes with the answer.
    const wanted = brightness(store.page.light, seconds, hand.now.patch === 2);
    find("light").style.opacity = limit.next(wanted, performance.now() / 1000).toFixed(3);
  }
}

/** While it plays, keys are about the cue that came last. */
function follow(seconds) {
  if (!player.playing || hand.now.mode) return;
  const last = store.page.cues.findLast((cue) => cue.seconds <= seconds + 0.05 && cue.status !== "rejected");
  if (last && last.id !== hand.now.cue) hand.set({ cue: last.id });
}

store.addEventListener("song", () => {
  const page = store.page;
  document.title = `${page.title} – cuesuggest`;
  document.querySelector("h1").textContent = page.title;
  if (page.sound) player.open(page.music.start, page.revision);
  const { cue, question, passed } = hand.now;
  const gone = {};
  if (cue && !store.cue(cue)) gone.cue = null;
  const open = page.questions.filter((each) => !passed.has(each.id));
  // Who looks at a cue is not led away from it.
  if (question ? !open.some((each) => each.id === question) : !store.cue(cue)) gone.question = open[0]?.id ?? null;
  if (Object.keys(gone).length) hand.set(gone);
  else chart.choose(cue, false);
});

hand.addEventListener("change", () => {
  chart.choose(hand.now.cue, !player.playing);
  if (list.open) list.choose(hand.now.cue);
});

store.addEventListener("conflict", ({ detail }) => {
  const box = find("conflict");
  const say = {
    window: ["This song was changed in another window.", [["f", "show-now", "show it as it is now"]]],
    file: ["The file was changed by another program.", [["f", "take-file", "show what the file holds"], ["w", "keep-shown", "write what is shown over it"]]],
    gone: ["The file is not there any more.", [["w", "keep-shown", "write what is shown again"]]],
  }[detail];
  box.hidden = !say;
  if (!say || box.dataset.shown === detail) return;
  box.dataset.shown = detail;
  const buttons = say[1].map(([key, id, words]) => el("button", { type: "button", "data-do": id, "data-key": key }, el("kbd", {}, key.toUpperCase()), ` ${words}`));
  box.replaceChildren(el("span", {}, say[0]), ...buttons);
});

// Dark or light: as the system says, or as chosen here.

run.scheme = () => {
  const dark = matchMedia("(prefers-color-scheme: dark)").matches;
  const now = document.documentElement.dataset.scheme ?? (dark ? "dark" : "light");
  document.documentElement.dataset.scheme = now === "dark" ? "light" : "dark";
  localStorage.setItem("scheme", document.documentElement.dataset.scheme);
};
const chosen = localStorage.getItem("scheme");
if (chosen) document.documentElement.dataset.scheme = chosen;

// A short song is drawn larger, as far as the window has room: it is read in the dark, from an arm away.

let drawn = Promise.resolve();
let drawnFor = "";

const size = () => `${find("chart").clientWidth} ${find("chart").clientHeight}`;

async function draw() {
  const element = find("chart");
  element.ariaBusy = "true";
  drawnFor = size();
  chart.scale = 1;
  await store.load();
  for (let round = 0; store.page && round < 2; round += 1) {
    const scale = chart.roomFor();
    if (Math.abs(scale - chart.scale) < 0.03) break;
    chart.scale = scale;
    await store.load();
  }
  element.ariaBusy = "false";
}

let resized = 0;
new ResizeObserver(() => {
  clearTimeout(resized);
  resized = setTimeout(() => {
    if (size() !== drawnFor) drawn = drawn.then(draw);
  }, 150);
}).observe(find("chart"));

setInterval(() => document.visibilityState === "visible" && store.look(), LOOK_EVERY);
document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && store.look());

drawn = draw();
await drawn;
picture();
