/* A board from a story: JSON that rig.py writes. */
import fs from "node:fs";
import { Board } from "./board.mjs";
import { Disk } from "./sd_card.mjs";
import { square, under_load } from "./signals.mjs";

const FLASH_BYTES = 2 * 1024 * 1024, ERASED = 0xff;

/* stalls: {from, every, length} in seconds; the first write after `from` is followed by one, and so on. */
function busy(busy_s, stalls) {
  let next = stalls ? stalls.from : Infinity;
  return (now) => {
    if (now < next) return busy_s;
    next = now + (stalls.every || Infinity);
    return stalls.length;
  };
}

function happen(board, what, path) {
  if (what === "out") board.card.take_out();
  else if (what === "in") board.card.put_in(path && new Disk(path));
  else if (what === "refuse") board.card.refusing = true;
  else if (what === "stick") board.card.stuck = true;
  else throw new Error(`nothing happens when a card is told ${what}`);
}

export function build(story) {
  const words = new Uint32Array(Uint8Array.from(fs.readFileSync(story.bootrom)).buffer);
  const flash = new Uint8Array(FLASH_BYTES).fill(ERASED);
  flash.set(fs.readFileSync(story.program));
  if (story.files) flash.set(fs.readFileSync(story.files), story.files_at);
  const board = new Board({
    bootrom: words,
    flash,
    disk: story.card ? new Disk(story.card) : null,
    counts_of: under_load(story.lean_s, story.restless),
    busy_s: busy(story.busy_us * 1e-6, story.stalls),
    usb: story.usb,
    slow: story.slow,
  });
  if (story.tach_hz) board.set_edges(square(story.tach_hz));
  for (const [from, to] of story.presses_s) board.press(from, to);
  for (const [time, what, path] of story.happens) board.at(time, () => happen(board, what, path));
  return board;
}
