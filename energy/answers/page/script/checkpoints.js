"use strict";

// What the display should read at a few moments of a plan, and below which reading to turn back.
// The same rules as answers/check/checkpoints.py.

/**
 * A moment at which to look at the display: the charge then [percent] on the middling day and on a
 * dull one, and the least whole percent from which the rest reaches its goal; null where a full
 * pack would not do, 0 where an empty one would. lowest: the lowest point of the middling day.
 * @typedef {{
 *   atS: number, expectedPercent: number, dullPercent: number, leastPercent: number | null,
 *   lowest: boolean,
 * }} Checkpoint
 */

const MOST_CHECKPOINTS = 4;
const FEWEST_CHECKPOINTS = 2;
const APART_S = 3600;
const ROUND_S = 300; // checkpoints are put on whole five minutes
const TOUCHING_S = 1; // windows of one task that follow each other are one block
const NIGHT_S = 60; // the least that is a night
const FULL_PERCENT = 100;

// --- turning back -------------------------------------------------------------------------------

/**
 * The least whole percent at a moment from which the rest reaches its goal; null: not even from a
 * full pack. More charge never does worse, so that a good guess and then halving find it.
 * @param {Kit} kit
 * @param {Answer} answer
 * @param {number} atS
 */
function leastPercent(kit, answer, atS) {
  const { goal_percent, reserve_percent } = kit.data;
  const lowEndFirst = answer.outcomes.slice().reverse();
  const rests = lowEndFirst.map(({ setup }) => caseFrom(setup, atS));
  const isOver = atS >= answer.edges[answer.edges.length - 1];
  /** @param {number} percent */
  const does = (percent) =>
    rests.every((rest) =>
      reached(successFrom(rest, percent, reserve_percent, isOver), goal_percent));
  let tooLittle = Math.ceil(reserve_percent - 1e-9) - 1;
  let enough = FULL_PERCENT + 1;
  /** @param {number} tried */
  const narrow = (tried) => {
    if (tried <= tooLittle || tried >= enough) return;
    if (does(tried)) enough = tried;
    else tooLittle = tried;
  };
  const guess = Math.min(guessLeast(kit, lowEndFirst[0], rests[0], atS), FULL_PERCENT);
  narrow(guess);
  narrow(guess - 1);
  while (enough - tooLittle > 1) narrow((tooLittle + enough) >> 1);
  return enough <= FULL_PERCENT ? enough : null;
}

/**
 * In which scenarios the rest succeeds from a charge; isOver: nothing of it is left.
 * @param {Case} rest
 * @param {number} percent
 * @param {number} reservePercent
 * @param {boolean} isOver
 */
function successFrom(rest, percent, reservePercent, isOver) {
  const startWh = rest.capacityWh.map((capacity) => capacity * (percent / 100.0));
  if (isOver) {
    const storeWh = Float64Array.of(...startWh, ...startWh);
    const { above } = lowestPoint(rest, storeWh);
    return Uint8Array.from(above, (height) => Number(height >= reservePercent - 1e-9));
  }
  const simulated = simulate(rest, startWh, false);
  return succeeds(lowestPoint(rest, simulated.storeWh).above, simulated, reservePercent);
}

/**
 * The least percent if all that is spared in the rest of each weather were missing at once.
 * @param {Kit} kit
 * @param {Outcome} outcome
 * @param {Case} rest
 * @param {number} atS
 */
function guessLeast({ data }, { setup, simulated }, rest, atS) {
  const from = segmentAt(setup.edges, atS) * setup.count;
  const { above } = lowestPoint(rest, simulated.storeWh.subarray(from));
  const charge = chargeAt(setup, simulated, atS);
  const wanted = charge.map((percent, s) => percent - above[s] + data.reserve_percent).sort();
  const enough = Math.max(needed(data.goal_percent, wanted.length), 1);
  return Math.ceil(wanted[enough - 1] - 1e-6);
}

/**
 * The charge of each scenario at a moment [percent].
 * @param {Case} setup
 * @param {Simulated} simulated
 * @param {number} timeS
 */
function chargeAt({ edges, capacityWh, count }, { storeWh }, timeS) {
  const row = segmentAt(edges, timeS);
  const share = (timeS - edges[row]) / (edges[row + 1] - edges[row]);
  return capacityWh.map((capacity, s) => {
    const [before, after] = [storeWh[row * count + s], storeWh[(row + 1) * count + s]];
    return (before + share * (after - before)) * (100.0 / capacity);
  });
}

// --- when to look -------------------------------------------------------------------------------

/**
 * The moments at which to look at the display, in order of time, at most four.
 * @param {Kit} kit
 * @param {Answer} answer
 * @returns {Checkpoint[]}
 */
function checkpointsOf(kit, answer) {
  const [{ setup, simulated }] = answer.outcomes;
  /** @type {Checkpoint[]} */
  const points = [];
  for (const atS of checkpointTimes(kit, answer).reverse()) {
    const charge = chargeAt(setup, simulated, atS);
    const expectedPercent = charge[answer.middle];
    // Where a full pack would not do, none does any earlier.
    const beyondFull = points.length > 0 && points[0].leastPercent === null;
    points.unshift({
      atS,
      expectedPercent,
      dullPercent: Math.min(percentile(charge, 10.0), expectedPercent),
      leastPercent: beyondFull ? null : leastPercent(kit, answer, atS),
      lowest: atS === answer.lowest.atS,
    });
  }
  return telling(kit, answer, points);
}

/**
 * The checkpoints of a plan that reaches its goal without those at which a middling day would turn
 * back: it reaches it by weathers that had begun well by then. Two are kept at least.
 * @param {Kit} kit
 * @param {Answer} answer
 * @param {Checkpoint[]} points
 */
function telling({ data }, { outcomes }, points) {
  if (!outcomes.every(({ success }) => reached(success, data.goal_percent))) return points;
  const kept = points.filter(({ lowest, leastPercent: least, expectedPercent }) =>
    lowest || (least !== null && least <= expectedPercent));
  return kept.length >= FEWEST_CHECKPOINTS ? kept : points;
}

/**
 * When to look: the lowest points, of the middling day and of a dull one, and the earliest others
 * that lie an hour apart.
 * @param {Kit} kit
 * @param {Answer} answer
 */
function checkpointTimes(kit, answer) {
  const { edges, lowest } = answer;
  const [startS, endS] = [edges[0], edges[edges.length - 1]];
  const [foreseen] = answer.outcomes;
  const dullLowest = lowestOf(kit, foreseen, dullOf(foreseen));
  /** @type {number[]} */
  const picked = [];
  const worthALook = [...workTimes(kit, answer), ...nights(kit, [startS, endS]).map(upToRound)]
    .filter((timeS) => startS < timeS && timeS < endS)
    .sort((a, b) => a - b);
  const lowestS = [lowest.atS, dullLowest.atS].filter((timeS) => timeS > startS);
  for (const timeS of [...lowestS, ...worthALook, endS]) {
    const most = timeS === endS ? FEWEST_CHECKPOINTS : MOST_CHECKPOINTS;
    const isApart = picked.every((other) => Math.abs(timeS - other) >= APART_S);
    if (picked.length < most && isApart) picked.push(timeS);
  }
  return picked.sort((a, b) => a - b);
}

/**
 * The scenario of which one in ten falls lower; of equals one of the first.
 * @param {Outcome} outcome
 */
function dullOf({ above }) {
  const lowest = Array.from(above, (percent) => rounded(percent, 6));
  const order = [...lowest.keys()].sort((a, b) => lowest[a] - lowest[b] || a - b);
  return order[Math.floor((order.length - 1) / 10)];
}

/**
 * The start of an interval, put on whole five minutes.
 * @param {Interval} interval
 */
function upToRound([startS]) {
  return Math.ceil(startS / ROUND_S) * ROUND_S;
}

/**
 * Before the block of work that takes most energy, and after the last mains work of each day.
 * @param {Kit} kit
 * @param {Answer} answer
 */
function workTimes(kit, { edges, bursts: running, asked }) {
  const blocks = blocksOf(running).filter(({ beginsS }) => beginsS > edges[0]);
  const [largest] = blocks.sort((a, b) =>
    rounded(b.wh, 6) - rounded(a.wh, 6) || a.beginsS - b.beginsS);
  const before = largest ? [Math.floor(largest.beginsS / ROUND_S) * ROUND_S] : [];
  /** @type {Map<string, number>} */
  const doneS = new Map();
  for (const { task, startS, endS } of running.slice().sort((a, b) => a.endS - b.endS)) {
    if (asked.tasks[task].supply === "ac") doneS.set(localFields(kit, startS).date, endS);
  }
  return [...before, ...[...doneS.values()].map((endS) => upToRound([endS, endS]))];
}

/**
 * Energy and beginning of what each task does in one of its windows, or in several that follow each
 * other without a break.
 * @param {Burst[]} running
 */
function blocksOf(running) {
  /** @type {{wh: number, beginsS: number}[]} */
  const blocks = [];
  /** @type {Burst | null} */
  let before = null;
  const inOrder = running.slice().sort((a, b) => a.task - b.task || a.startS - b.startS);
  for (const burst of inOrder) {
    const goesOn =
      before !== null &&
      before.task === burst.task &&
      (burst.startS - before.endS <= TOUCHING_S || before.window === burst.window);
    if (goesOn) blocks[blocks.length - 1].wh += energyOf(burst);
    else blocks.push({ wh: energyOf(burst), beginsS: burst.startS });
    before = burst;
  }
  return blocks;
}

/**
 * The stretches of a span between sunset and sunrise; a polar day has none.
 * @param {Kit} kit
 * @param {Interval} span
 */
function nights(kit, [startS, endS]) {
  const sun = kit.data.dates.sun.slice(0, -1);
  /** @type {Interval[]} */
  const joined = [];
  for (let k = 0; k + 1 < sun.length; k++) {
    const duskS = Math.max(sun[k][1], startS);
    const dawnS = Math.min(sun[k + 1][0], endS);
    const last = joined[joined.length - 1];
    if (last && duskS - last[1] < NIGHT_S) last[1] = Math.max(dawnS, last[1]); // a sunless noon
    else if (dawnS - duskS > NIGHT_S) joined.push([duskS, dawnS]);
  }
  return joined;
}
