/* node run.mjs STORY.json OUT.json: run a story, write down what was seen from outside. */
import fs from "node:fs";
import { build } from "./build.mjs";

const [story_path, out_path] = process.argv.slice(2);
const story = JSON.parse(fs.readFileSync(story_path));
const board = build(story);
const loads = []; // [time, share of the time since the last one in which the processor executed instructions]
let cycles = 0, then = 0;
while (board.now < story.seconds) {
  board.run(Math.min(board.now + 0.5, story.seconds));
  loads.push([board.now, ((board.cycles - cycles) * 8e-9) / (board.now - then)]);
  [cycles, then] = [board.cycles, board.now];
}
const { lamp, buzzer, turns, resets, errors, edges_given, card, converter } = board;
const seen = {
  lamp, buzzer, turns, resets, errors, edges_given, loads,
  writes: card.writes,
  refused: card.refused,
  reads: card.reads,
  converted: converter.taken,
  said: Buffer.from(board.said).toString("latin1"),
};
fs.writeFileSync(out_path, JSON.stringify(seen));
