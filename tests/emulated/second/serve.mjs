/* node serve.mjs STORY.json OUT.json: the board's USB serial on a TCP port of this machine, told on the first line of
   the output. Emulated time never runs ahead of real time; the board stops when the story ends or the input is closed. */
import fs from "node:fs";
import net from "node:net";
import { build } from "./build.mjs";

const [story_path, out_path] = process.argv.slice(2);
const story = JSON.parse(fs.readFileSync(story_path));
const board = build({ ...story, usb: true });
const TURN_MS = 20, STEP_S = 0.001;
let socket = null;
let began = Date.now();
board.usb.on_bytes = (bytes) => socket && socket.write(bytes);

const server = net.createServer((caller) => {
  socket = caller;
  caller.setNoDelay(true);
  caller.on("data", (bytes) => board.usb.send(bytes));
  caller.on("close", () => socket === caller && (socket = null));
  caller.on("error", () => {});
});
server.listen(0, "127.0.0.1", () => console.log(server.address().port));
process.stdin.resume();
process.stdin.on("end", end);

function end() {
  const { resets, errors, card, flash, now, edges_given } = board;
  const seen = { resets, errors, edges_given, writes: card.writes, erased: flash.erased, emulated_s: now, real_s: real_s() };
  fs.writeFileSync(out_path, JSON.stringify({ ...seen, said: Buffer.from(board.said).toString("latin1") }));
  process.exit();
}

const real_s = () => (Date.now() - began) / 1000;

function turn() {
  const until = Date.now() + TURN_MS;
  while (Date.now() < until && board.now < real_s()) board.run(board.now + STEP_S);
  if (board.now > story.seconds) return end();
  setTimeout(turn, board.now < real_s() ? 0 : 2);
}

began = Date.now();
turn();
