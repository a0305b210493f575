// @ts-check
import { barIndex, barStep } from "./places.js";

/** @import { Answer } from "./content.js" */
/** @import { Hand } from "./hand.js" */
/** @import { Player } from "./player.js" */
/** @import { Store } from "./store.js" */

const ROUND = "answer ";

/**
 * What is done with the question that is shown: go to the next, listen, hear an answer before it is given, give it.
 *
 * @param {object} parts
 * @param {Store} parts.store
 * @param {Player} parts.player
 * @param {Hand} parts.hand
 * @param {(said: string, wrong?: boolean) => void} parts.say
 */
export function questionActs({ store, player, hand, say }) {
  const music = () => store.page.music;
  const asked = () => store.page.questions.find((each) => each.id === hand.now.question);

  /** The click goes with the beats again, and nothing goes round, where that was for an answer. */
  const asTold = () => {
    if (player.loop?.name.startsWith(ROUND)) player.setLoop(player.loop);
    if (player.reading) player.clickOn(player.click);
  };

  const listen = () => {
    const question = asked();
    if (!question) return;
    asTold();
    player.playFrom(barStep(music().bars, question.listen_at + 0.01, -1) ?? question.listen_at);
  };

  /** Play the bars of an answer round and round, with the click where it would put beats, bars or the moment. @param {Answer} answer */
  const play = (answer) => {
    asTold();
    const name = `${ROUND}${answer.id + 1}`;
    if (answer.reading !== null) player.clickOn(true, answer.reading);
    player.setLoop({ start: answer.hear_from, end: answer.hear_to, name });
    player.playFrom(answer.hear_from);
  };

  /** @param {string} id */
  const hear = (id) => {
    const answer = asked()?.answers.find((each) => String(each.id) === id);
    if (answer) play(answer);
  };

  /** The answer whose one candidate lies in the bar at a time, if a question points there. @param {number} seconds */
  const pointedAt = (seconds) => {
    const bar = music().bars[barIndex(music().bars, seconds)];
    const there = bar ? (asked()?.answers ?? []).filter((each) => each.at !== null && each.at >= bar[1] - 0.01 && each.at < bar[2] - 0.01) : [];
    return there.length === 1 ? String(there[0].id) : null;
  };

  /** Through the clicks of all answers that have one, then none; without such a question on and off. */
  const nextClick = () => {
    const answers = asked()?.answers.filter((each) => each.reading !== null) ?? [];
    if (answers.length < 2) {
      player.toggleClick();
      return;
    }
    const now = answers.findIndex((each) => player.loop?.name === `${ROUND}${each.id + 1}`);
    if (now + 1 < answers.length) play(answers[now + 1]);
    else {
      asTold();
      player.clickOn(false);
    }
  };

  return {
    asTold,
    pointedAt,
    /** @type {Record<string, (of: string) => unknown>} */
    commands: {
      question: () => {
        asTold();
        const open = store.page.questions;
        const index = open.findIndex((each) => each.id === hand.now.question);
        if (!open.length) {
          say("No question is open.", false);
          return;
        }
        const { id } = open[(index + 1) % open.length];
        // Asked again, it is not passed over any more: what comes from the server leaves it where it is.
        hand.set({ question: id, mode: "", passed: new Set([...hand.now.passed].filter((each) => each !== id)) });
      },
      listen,
      hear,
      click: nextClick,
      answer: (id) => {
        const question = asked();
        if (!question) return;
        hand.set({ question: null, cue: null });
        store.act("answer", { question: question.id, answer: Number(id) });
      },
    },
  };
}
