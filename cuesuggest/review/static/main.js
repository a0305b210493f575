// @ts-check
import { shownSong } from "./api.js";
import { BusyView } from "./busy-view.js";
import { ChartView } from "./chart-view.js";
import { Choices } from "./chosen.js";
import { commands } from "./commands.js";
import { DeskView } from "./desk-view.js";
import { around, el, find, listen } from "./dom.js";
import { songActs } from "./evening.js";
import { ExportView } from "./export-view.js";
import { Hand } from "./hand.js";
import { changesNothing, Held } from "./held.js";
import { HelpView } from "./help-view.js";
import { COMMANDS, keyOf, meant } from "./keys.js";
import { brightness, FlashLimit } from "./light.js";
import { ListView } from "./list-view.js";
import { MarksView } from "./marks-view.js";
import { placeAt } from "./places.js";
import { Player } from "./player.js";
import { PressView } from "./press-view.js";
import { Pressing } from "./pressing.js";
import { questionActs } from "./questions.js";
import { SongsView } from "./songs-view.js";
import { Store } from "./store.js";
import { StripView } from "./strip-view.js";
import { ThroughView } from "./through-view.js";

/** @import { Room } from "./api.js" */
/** @import { Told } from "./content.js" */
/** @import { State } from "./hand.js" */

const LOOK_EVERY = 3000; // ms
const A_FEW_LINES = 90; // px
const stage = find("#chart", HTMLElement);
const conflict = find("#conflict", HTMLElement);

/**
 * How many bars side by side the window has room for, and how wide the chart may be at its own size.
 *
 * @returns {Room}
 */
function room() {
  const bars = Math.min(roomForBars(), choices.now.bars);
  return { bars, width: Math.max(300, chart.widthIn(chart.scale)) };
}

function roomForBars() {
  const width = stage.clientWidth - 32;
  return width >= 1224 ? 16 : width >= 640 ? 8 : 4;
}

const store = new Store(room, shownSong());
const player = new Player(find("#sound", HTMLAudioElement));
const hand = new Hand();
const choices = new Choices();
const chart = new ChartView(stage, store, {
  bar: (seconds) => {
    const answer = questions.pointedAt(seconds);
    if (answer === null) player.seek(seconds);
    else perform(`hear:${answer}`);
  },
  cue: (id) => {
    hand.set({ cue: id, question: null });
    const cue = store.cue(id);
    if (cue && !player.playing) player.seek(cue.seconds);
  },
  answer: (id) => perform(`hear:${id}`),
});
new MarksView(chart, store, hand, find("#changed-about", HTMLElement));
const desk = new DeskView(find("#desk", HTMLElement), store, player, hand, choices);
new StripView(find("#strip", HTMLElement), store, player, hand);
const list = new ListView(find("#list", HTMLDialogElement), store, (id) => hand.set({ cue: id, question: null }));
const help = new HelpView(find("#help", HTMLDialogElement), store);
const say = (/** @type {string} */ said, wrong = true) => desk.tell({ said, lines: [], remarks: [], wrong });
const exporting = new ExportView(find("#export", HTMLDialogElement), store, say);
const questions = questionActs({ store, player, hand, say });
const run = commands({ store, player, hand, say, list, questions, choices, askDialog: find("#ask", HTMLDialogElement) });
const songs = new SongsView(find("#songs", HTMLDialogElement), store, (said) => say(said, false));
Object.assign(run, songActs({ store, player, hand, songs, say, draw: () => (drawn = drawn.then(draw)) }));
const pressing = new Pressing({ store, player, hand, choices, say, askDialog: find("#ask", HTMLDialogElement) });
const pressView = new PressView({ pressing, store, player, hand, choices, chart, desk });
Object.assign(run, pressing.commands);
run.help = () => help.turn();
run.export = () => exporting.show();
const through = new ThroughView(find("#through", HTMLDialogElement), store, player, choices);
run.through = () => through.show();

const held = new Held(store);
new BusyView(find("#work", HTMLElement), find("#unsaved", HTMLElement), store, held);

// What is open on the page decides what a key means.

const IN_PASS = new Set(["play", "bar-back", "bar-on", "section-back", "section-on", "start", "help"]);
/** @type {Record<string, string | undefined>} */
const HEARD_IN_TAP = { t: "tap-beat", Enter: "tap-done", Escape: "leave", Space: "play" };

/** @param {string} key */
function answerTo(key) {
  const question = store.page.questions.find((each) => each.id === hand.now.question);
  return question?.answers[Number(key) - 1]?.id ?? null;
}

/** @param {string} key */
function commandFor(key) {
  const { mode, question } = hand.now;
  if (mode === "tap") return HEARD_IN_TAP[key];
  if (mode === "press" && key !== "Escape") {
    const found = meant(key, mode) ?? meant(key, "");
    return found?.when || IN_PASS.has(found?.id ?? "") ? found?.id : undefined;
  }
  if (mode === "late" && key !== "Escape") return meant(key, mode)?.id;
  if (key === "Escape") return conflict.hidden ? "leave" : "show-now";
  if (!conflict.hidden && (key === "f" || key === "w")) return [...conflict.querySelectorAll("button")].find((each) => each.dataset.key === key)?.dataset.do;
  if (!mode && question) {
    if (answerTo(key) !== null) return `answer:${answerTo(key)}`;
    if (key === "q" && !player.playing) return "listen";
  }
  return (meant(key, mode) ?? (mode ? meantOutside(key) : null))?.id;
}

/**
 * Listening, taking back and looking go on while a menu is open; deciding about cues does not.
 *
 * @param {string} key
 */
function meantOutside(key) {
  const found = meant(key, "");
  return found && ["Listen", "Page", "Songs", "Music", "Section"].includes(found.group) ? found : null;
}

/**
 * @param {string} what id of a command; with a colon and what it is about
 * @param {number} moment at which the key or finger came down
 */
function perform(what, moment = performance.now()) {
  if (!store.there) return;
  const [id, of = ""] = what.split(":");
  run[id]?.(of, moment);
}

document.addEventListener("keydown", (event) => {
  if (!store.there || event.altKey || event.isComposing) return;
  if (through.open) {
    through.key(event);
    return;
  }
  if (around(event, "input, textarea, select, #ask, #export")) return;
  const key = keyOf(event);
  const onButton = around(event, "button");
  if (onButton && (key === "Enter" || key === "Space")) return;
  const dialog = document.querySelector("dialog[open]");
  const id = (dialog?.id === "songs" && meant(key, "songs")?.id) || commandFor(key);
  if (!id || (dialog && key === "Escape")) return;
  if ((dialog?.id === "help" || dialog?.id === "songs") && id !== dialog.id && id !== "sound-check") return;
  event.preventDefault();
  // A key that is held down is one press.
  if (event.repeat && ["press", "late", "tap"].includes(hand.now.mode)) return;
  if (!store.busy || changesNothing(id.split(":")[0])) perform(id, event.timeStamp);
  // What it means is asked again then: menus may have opened and closed.
  else if (!event.repeat) held.hold(() => perform(commandFor(key) ?? ""));
});

/** A beat is tapped as the finger comes down, not as it goes up. */
const AT_ONCE = "[data-do=tap-beat], .pad";
document.addEventListener("pointerdown", (event) => {
  const pressed = around(event, AT_ONCE)?.dataset.do;
  if (pressed) perform(pressed, event.timeStamp);
});

document.addEventListener("click", (event) => {
  const button = around(event, "[data-do]");
  if (!button?.dataset.do) return;
  if (button.matches(AT_ONCE) && event.detail > 0) {
    button.blur();
    return;
  }
  let what = button.dataset.do;
  if (around(event, "#help") && what !== "help") {
    help.turn();
    const menu = COMMANDS.find((each) => each.id === what)?.when ?? "";
    if (menu && menu !== hand.now.mode) {
      // Pressing along has to begin before anything can be done in it.
      if (["press", "late", "pressed"].includes(menu)) what = "press-along";
      else if (menu !== "songs") hand.set({ mode: menu });
    }
  }
  // After a press with the mouse the keys belong to the chart again.
  if (event.detail > 0) button.blur();
  if (!store.busy || changesNothing(what.split(":")[0])) perform(what);
  else held.hold(() => perform(what));
});

run.patch = () => {
  const fast = store.page.light.shots.some(([, , crowded]) => crowded);
  hand.set({ patch: (hand.now.patch + 1) % (fast ? 3 : 2) });
};

// How loud, and how many bars a line: kept on this machine.

run["bars-a-line"] = () => {
  const most = roomForBars();
  const now = Math.min(most, choices.now.bars);
  if (most === 4) say("The window has no room for more than 4 bars a line.");
  else choices.set({ bars: now > 4 ? now / 2 : 16 });
};

/** @type {number | null} */
let barsBefore = null;
choices.addEventListener("change", () => {
  player.setLoud(choices.now);
  const { bars } = choices.now;
  if (barsBefore !== null && bars !== barsBefore) drawn = drawn.then(draw);
  barsBefore = bars;
});

player.addEventListener("change", () => {
  const { loop, from } = player;
  chart.showRound(loop ?? (from && { start: from.start, end: null }));
});

// The picture follows the sound's own clock.

/** @type {number | null} where the beat began that was shown last */
let before = null;
const limit = new FlashLimit();

function picture() {
  requestAnimationFrame(picture);
  // A run-through stands before all of it, and has a picture of its own.
  if (!store.there || through.open) return;
  player.keepLoop();
  pressing.picture();
  pressView.picture();
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
    find("#light", HTMLElement).style.opacity = limit.next(wanted, performance.now() / 1000).toFixed(3);
  }
}

/**
 * While it plays, keys are about the cue that came last.
 *
 * @param {number} seconds
 */
function follow(seconds) {
  if (!player.playing || hand.now.mode) return;
  const last = store.page.cues.findLast((cue) => cue.seconds <= seconds + 0.05 && cue.status !== "rejected");
  if (last && last.id !== hand.now.cue) hand.set({ cue: last.id });
}

store.addEventListener("song", () => {
  const { page } = store;
  const { number, of } = page.evening;
  const which = of > 1 ? `, song ${number} of ${of}` : "";
  document.title = `${page.title}${which} – cuesuggest`;
  find("h1", HTMLElement).textContent = `${page.title}${which}`;
  choices.start(page.chosen);
  if (page.sound) player.open(page.sound.address, page.sound.start, page.revision);
  const { cue, question, passed } = hand.now;
  /** @type {Partial<State>} */
  const gone = {};
  if (cue && !store.cue(cue)) gone.cue = null;
  const open = page.questions.filter((each) => !passed.has(each.id));
  // Who looks at a cue is not led away from it.
  if (question ? !open.some((each) => each.id === question) : !store.cue(cue)) gone.question = open[0]?.id ?? null;
  if (Object.keys(gone).length) hand.set(gone);
  else chart.choose(cue, false);
});

/** @type {string | null} the question that was shown last */
let asked = null;
hand.addEventListener("change", () => {
  if (hand.now.question !== asked) {
    asked = hand.now.question;
    questions.asTold();
  }
  chart.choose(hand.now.cue, !player.playing);
  if (list.open) list.choose(hand.now.cue);
});

// What was added is what the next keys are about.
listen(store, "told", (/** @type {Told} */ told) => {
  if (told.added) hand.set({ cue: told.added, question: null });
});

// What has changed behind the page's back, and the ways out: key, command, words.
const CONFLICTS = {
  window: { said: "This song was changed in another window.", ways: [["f", "show-now", "show it as it is now"]] },
  file: {
    said: "The file was changed by another program.",
    ways: [["f", "take-file", "show what the file holds"], ["w", "keep-shown", "write what is shown over it"]],
  },
  gone: { said: "The file is not there any more.", ways: [["w", "keep-shown", "write what is shown again"]] },
};

listen(store, "conflict", (/** @type {keyof typeof CONFLICTS | null} */ what) => {
  conflict.hidden = what === null;
  if (what === null || conflict.dataset.shown === what) return;
  conflict.dataset.shown = what;
  const { said, ways } = CONFLICTS[what];
  const buttons = ways.map(([key, id, words]) => el("button", { type: "button", "data-do": id, "data-key": key }, el("kbd", {}, key.toUpperCase()), ` ${words}`));
  conflict.replaceChildren(el("span", {}, said), ...buttons);
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
let drawnFor = { width: 0, height: 0 };

/**
 * Whether the window's room is another one. The desk below takes a line more or less with every cue: where the chart
 * changed its size for that, a press would land on what stood there a moment before.
 */
const resized = () => stage.clientWidth !== drawnFor.width || Math.abs(stage.clientHeight - drawnFor.height) > A_FEW_LINES;

async function draw() {
  stage.ariaBusy = "true";
  drawnFor = { width: stage.clientWidth, height: stage.clientHeight };
  chart.scale = 1;
  await store.load();
  // How many bars a line were chosen comes with the first answer.
  if (store.there && store.page.chart.bars_per_line !== room().bars) await store.load();
  const { fits } = chart;
  const wider = choices.now.bars < roomForBars();
  for (let round = 0; store.there && round < 2; round += 1) {
    const scale = chart.roomFor(fits, wider);
    if (Math.abs(scale - chart.scale) < 0.03) break;
    chart.scale = scale;
    await store.load();
  }
  if (fits && !wider) chart.shrink();
  settled();
}

/** What stands there is busy until it is drawn for the room that it has. */
function settled() {
  stage.ariaBusy = String(resized());
}

let waiting = 0;
new ResizeObserver(() => {
  if (resized()) stage.ariaBusy = "true";
  clearTimeout(waiting);
  waiting = setTimeout(() => {
    drawn = drawn.then(() => (resized() ? draw() : settled()));
  }, 150);
}).observe(stage);

function look() {
  if (document.visibilityState === "visible") store.look();
}
setInterval(look, LOOK_EVERY);
document.addEventListener("visibilitychange", look);

drawn = draw();
await drawn;
pressing.start();
picture();
