/* What the board's inputs see. */
const RICH = 831, LEAN = 1847, FULL_LOAD = 2268, FULL_THROTTLE = 3324; // counts behind the 0-5 V divider
const CLOCK_INPUT = 3; // a3 tells the time: counts are milliseconds
export const CLOCK_MS = 4000; // and begin anew

/* A slow swing of its own for each input, with three counts of noise that repeats. */
function swing(input, time) {
  const noise = ((Math.floor(time * 1e6) * 7919 + input * 104729) % 7) - 3;
  return Math.round(1500 + 120 * (input % 8) + 600 * Math.sin(2 * Math.PI * (0.3 + 0.05 * input) * time)) + noise;
}

/* A car under full load on a0 to a2, lean from lean[0] to lean[1]; counts_of(input, time). restless: further inputs jump
   about, so that a block holds few rows. */
export function under_load(lean, restless) {
  let seed = 1;
  const random = () => ((seed = (seed * 1103515245 + 12345) & 0x7fffffff) >> 8) & 2047;
  return (input, time) => {
    if (input === 0) return time > lean[0] && time < lean[1] ? LEAN : RICH;
    if (input === 1) return FULL_LOAD;
    if (input === 2) return FULL_THROTTLE;
    if (input === CLOCK_INPUT) return Math.floor(time * 1000) % CLOCK_MS;
    return restless ? 800 + random() : swing(input, time);
  };
}

/* Edges of a square wave: [time, level]. */
export function* square(hz) {
  for (let n = 0; ; n++) {
    yield [n / hz, true];
    yield [(n + 0.5) / hz, false];
  }
}
