"use strict";

// Does it stay powered? One case for each set of weathers is simulated and judged: success, chance,
// verdict and lowest charge. The same rules as simulation/success.py and simulation/result.py. When
// to look at the display is in checkpoints.js, how much more fits in how_many.js, the words in
// words.js.

/**
 * What came of one set of weathers, m of them: lowestEdge and above (height over what the cold
 * holds back [percent of charge]) of each one's lowest point; unmetWh with overloads counted in,
 * one array a task; success, powered (nothing stops, reserve or not) and tooCold (fails by the
 * cold, not empty), 0 or 1 each.
 * @typedef {{
 *   setup: Case, simulated: Simulated, lowestEdge: Int32Array, above: Float64Array,
 *   unmetWh: Float64Array[], success: Uint8Array, powered: Uint8Array, tooCold: Uint8Array,
 * }} Outcome
 */

/**
 * A task that a limit turns away, with what its first burst broke, and how many of its bursts.
 * @typedef {{
 *   task: number, limit: string, asked: number, allowed: number,
 *   turnedAway: number, bursts: number,
 * }} Refused
 */

/**
 * The answer. success and powered count weathers as foreseen, of which mayFail may fail; outcomes
 * holds one for each set of weathers that decides, as foreseen and at the low end. charge: percent
 * at the edges, of the middle weather and of the 10th percentile. bursts: those that run; cases and
 * simulated as in outcomes.
 * @typedef {{
 *   kit: Kit, asked: Asked, answer: "yes" | "almost" | "no", verdict: string, success: number,
 *   powered: number, count: number, mayFail: number, edges: Float64Array, middle: number,
 *   charge: {middle: Float64Array, dull: Float64Array}, lowest: Lowest, dullTenthPercent: number,
 *   overloads: Refused[], tasks: {runs: boolean, whyNot: string | null}[], bursts: Burst[],
 *   progress: Progress[], problems: Problem[], outcomes: Outcome[], cases: Case[],
 *   simulated: Simulated[],
 * }} Answer
 */

/**
 * The lowest point of the middle weather: what is spared above the reserve [Wh], and the percent
 * that the cold holds back then.
 * @typedef {{percent: number, atS: number, spareWh: number, coldUnavailablePercent: number}} Lowest
 */

const ALL_LOCKED_PERCENT = 99.9; // more held back than this: too cold to give

// --- one set of weathers ------------------------------------------------------------------------

/**
 * At which edge each scenario is lowest, and how high above what the cold holds back then
 * [percent]. Each segment's cold counts at its start and at its end.
 * @param {Case} setup
 * @param {Float64Array} storeWh
 */
function lowestPoint(setup, storeWh) {
  const { count, capacityWh } = setup;
  const { hours, coldRow, coldShare, coldColumns } = courseOf(setup);
  const perWh = capacityWh.map((capacity) => 100.0 / capacity);
  const start = new Float64Array(count).fill(Infinity);
  const end = start.slice();
  const [startEdge, endEdge] = [new Int32Array(count), new Int32Array(count)];
  const across = coldColumns > 1 ? 1 : 0;
  for (let i = 0, cell = 0; i < hours.length; i++) {
    for (let s = 0, cold = coldRow[i] * coldColumns; s < count; s++, cell++, cold += across) {
      const atStart = storeWh[cell] * perWh[s] - 100.0 * coldShare[cold];
      const atEnd = storeWh[cell + count] * perWh[s] - 100.0 * coldShare[cold];
      if (atStart < start[s]) {
        start[s] = atStart;
        startEdge[s] = i;
      }
      if (atEnd < end[s]) {
        end[s] = atEnd;
        endEdge[s] = i + 1;
      }
    }
  }
  return {
    above: start.map((height, s) => Math.min(height, end[s])),
    lowestEdge: startEdge.map((edge, s) => (end[s] < start[s] ? endEdge[s] : edge)),
  };
}

/**
 * In which scenarios the reserve is kept and nothing runs short.
 * @param {Float64Array} above
 * @param {Simulated} simulated
 * @param {number} reservePercent
 */
function succeeds(above, simulated, reservePercent) {
  const { firstShortS } = simulated;
  return Uint8Array.from(above, (percent, s) =>
    Number(percent >= reservePercent - 1e-9 && firstShortS[s] === Infinity));
}

/**
 * How many of so many scenarios must succeed for a goal.
 * @param {number} goalPercent
 * @param {number} scenarios
 */
function needed(goalPercent, scenarios) {
  return Math.ceil((goalPercent / 100.0) * scenarios - 1e-9);
}

/**
 * Whether as many hold as a goal needs.
 * @param {Uint8Array} holds
 * @param {number} goalPercent
 */
function reached(holds, goalPercent) {
  return countOf(holds) >= needed(goalPercent, holds.length);
}

/** @param {Uint8Array} holds */
function countOf(holds) {
  return holds.reduce((sum, one) => sum + one, 0);
}

/**
 * @param {Kit} kit
 * @param {LaidOut} laid
 * @param {Case} setup
 * @returns {Outcome}
 */
function outcomeOf(kit, laid, setup) {
  const simulated = simulate(setup);
  const { lowestEdge, above } = lowestPoint(setup, simulated.storeWh);
  const success = succeeds(above, simulated, kit.data.reserve_percent);
  const isAllLetRun = laid.overloads.length === 0;
  const powered = Uint8Array.from(simulated.firstShortS, (shortS) =>
    Number(isAllLetRun && shortS === Infinity));
  const went = { setup, simulated, lowestEdge, above };
  return {
    ...went,
    unmetWh: unmetOf(setup, simulated, laid.overloads),
    success,
    powered,
    tooCold: success.map((one, s) => Number(one === 0 && isTooCold(went, s))),
  };
}

/**
 * What of each task is unmet, for want of energy or turned away, one array (m) a task [Wh].
 * @param {Case} setup
 * @param {Simulated} simulated
 * @param {Overload[]} refused
 */
function unmetOf(setup, simulated, refused) {
  const unmet = simulated.unmetWh.map((wh) => wh.slice());
  for (const { burst } of refused) {
    const factor = setup.factor[burst.task];
    const wh = energyOf(burst);
    unmet[burst.task].forEach((_, s, own) => (own[s] += wh * factor[s]));
  }
  return unmet;
}

/**
 * Stated energy of a burst [Wh].
 * @param {Burst} burst
 */
function energyOf({ pieces }) {
  return pieces.reduce((sum, { startS, endS, meanW }) => sum + meanW * (endS - startS), 0) / 3600;
}

/**
 * Whether a scenario that fails does so by the cold: its first moment short tells, else its lowest
 * point.
 * @param {Pick<Outcome, "setup" | "simulated" | "lowestEdge" | "above">} outcome
 * @param {number} scenario
 */
function isTooCold(outcome, scenario) {
  const { setup, simulated, above } = outcome;
  const shortS = simulated.firstShortS[scenario];
  if (shortS < Infinity) return tooColdAt(setup, shortS, scenario);
  return lowestPercent(outcome, scenario) - above[scenario] > ALL_LOCKED_PERCENT;
}

/**
 * Whether it is too cold for the pack to give at a moment of a scenario.
 * @param {Case} setup
 * @param {number} timeS
 * @param {number} scenario
 */
function tooColdAt(setup, timeS, scenario) {
  const column = setup.tempColumns > 1 ? scenario : 0;
  const row = setup.tempRow[segmentAt(setup.edges, timeS)];
  return tooCold(setup.battery, setup.temp[row * setup.tempColumns + column]);
}

/**
 * State of charge at a scenario's lowest point.
 * @param {Pick<Outcome, "setup" | "simulated" | "lowestEdge">} outcome
 * @param {number} scenario
 */
function lowestPercent({ setup, simulated, lowestEdge }, scenario) {
  const storeWh = simulated.storeWh[lowestEdge[scenario] * setup.count + scenario];
  return storeWh * (100.0 / setup.capacityWh[scenario]);
}

/**
 * The scenario whose lowest charge is the median, counted above what the cold holds back; of equals
 * the one nearest to the dates, where the page knows their shift. Those that run flat are equals,
 * the more is unmet the lower.
 * @param {Outcome} outcome
 * @param {number[]} shiftDays
 */
function middleOf({ above, unmetWh, simulated }, shiftDays) {
  const heights = Array.from(above, (percent) => rounded(percent, 9));
  const flat = Math.min(...heights);
  const lowest = heights.map((height, s) =>
    simulated.firstShortS[s] < Infinity ? flat : height);
  const unmet = lowest.map((_, s) => rounded(unmetWh.reduce((sum, own) => sum + own[s], 0), 6));
  /** @param {number} s */
  const shift = (s) => shiftDays[s] || 0;
  const numbers = [...lowest.keys()];
  const order = numbers
    .slice()
    .sort((a, b) => lowest[a] - lowest[b] || unmet[b] - unmet[a] || a - b);
  const median = order[(order.length - 1) >> 1];
  const equal = numbers.filter((s) => lowest[s] === lowest[median] && unmet[s] === unmet[median]);
  return equal.sort((a, b) =>
    Math.abs(shift(a)) - Math.abs(shift(b)) || shift(a) - shift(b) || a - b)[0];
}

/**
 * @param {number} value
 * @param {number} digits
 */
function rounded(value, digits) {
  return Number(value.toFixed(digits));
}

/**
 * A percentile of some values, in a straight line between neighbours.
 * @param {Float64Array} values
 * @param {number} percent
 */
function percentile(values, percent) {
  const sorted = values.slice().sort();
  const at = (percent / 100.0) * (sorted.length - 1);
  const below = sorted[Math.floor(at)];
  return below + (sorted[Math.ceil(at)] - below) * (at % 1);
}

// --- the answer ---------------------------------------------------------------------------------

/**
 * Judge what is asked in all weathers that the page carries.
 * @param {Kit} kit
 * @param {Asked} asked
 * @returns {Answer}
 */
function ask(kit, asked) {
  const laid = layOut(kit, asked);
  const outcomes = laid.cases.map((setup) => outcomeOf(kit, laid, setup));
  const [foreseen] = outcomes;
  const { count, edges } = foreseen.setup;
  const middle = middleOf(foreseen, kit.data.weathers[0].shift_days || []);
  return {
    kit,
    asked,
    answer: answerOf(kit, laid, outcomes),
    verdict: verdictOf(laid, foreseen, middle),
    success: countOf(foreseen.success),
    powered: countOf(foreseen.powered),
    count,
    mayFail: count - needed(kit.data.goal_percent, count),
    edges,
    middle,
    charge: chargeOf(foreseen, middle),
    lowest: lowestOf(kit, foreseen, middle),
    dullTenthPercent: percentile(foreseen.above.map((_, s) => lowestPercent(foreseen, s)), 10.0),
    overloads: refusedOf(laid),
    tasks: asked.tasks.map((_, k) => taskAnswer(kit, asked, laid, foreseen, middle, k)),
    bursts: laid.bursts,
    progress: laid.progress,
    problems: laid.problems,
    outcomes,
    cases: laid.cases,
    simulated: outcomes.map((outcome) => outcome.simulated),
  };
}

/**
 * yes; almost, where in at least the goal's share nothing stops but the reserve is used; else no.
 * @param {Kit} kit
 * @param {LaidOut} laid
 * @param {Outcome[]} outcomes
 */
function answerOf({ data }, laid, outcomes) {
  const succeedsEnough = outcomes.every(({ success }) => reached(success, data.goal_percent));
  if (succeedsEnough && laid.overloads.length === 0) return "yes";
  return outcomes.every(({ powered }) => reached(powered, data.goal_percent)) ? "almost" : "no";
}

/**
 * How a scenario goes.
 * @param {LaidOut} laid
 * @param {Outcome} outcome
 * @param {number} scenario
 */
function verdictOf(laid, { simulated, success }, scenario) {
  if (laid.overloads.length > 0) return "overloads";
  if (simulated.firstShortS[scenario] < Infinity) return "runs-flat";
  return success[scenario] ? "stays-powered" : "dips-into-reserve";
}

/**
 * The charge at the edges [percent]: of the middle weather, and what nine in ten stay above.
 * @param {Outcome} outcome
 * @param {number} middle
 */
function chargeOf({ setup, simulated: { storeWh } }, middle) {
  const { count, edges } = setup;
  const perWh = setup.capacityWh.map((capacity) => 100.0 / capacity);
  const across = new Float64Array(count);
  const dull = edges.map((_, edge) => {
    for (let s = 0; s < count; s++) across[s] = storeWh[edge * count + s] * perWh[s];
    return percentile(across, 10.0);
  });
  return { middle: edges.map((_, edge) => storeWh[edge * count + middle] * perWh[middle]), dull };
}

/**
 * @param {Kit} kit
 * @param {Outcome} outcome
 * @param {number} scenario
 * @returns {Lowest}
 */
function lowestOf({ data }, outcome, scenario) {
  const { setup, above, lowestEdge } = outcome;
  const percent = lowestPercent(outcome, scenario);
  const spare = (above[scenario] - data.reserve_percent) / 100.0;
  return {
    percent,
    atS: setup.edges[lowestEdge[scenario]],
    spareWh: spare * setup.capacityWh[scenario],
    coldUnavailablePercent: percent - above[scenario],
  };
}

/**
 * The tasks of which a limit turns something away.
 * @param {LaidOut} laid
 * @returns {Refused[]}
 */
function refusedOf({ overloads: refused, placed }) {
  const tasks = [...new Set(refused.map(({ burst }) => burst.task))].sort((a, b) => a - b);
  return tasks.map((task) => {
    const own = refused.filter(({ burst }) => burst.task === task);
    const { limit, asked, allowed } = own[0];
    const placedOwn = placed.bursts.filter((burst) => burst.task === task);
    return { task, limit, asked, allowed, turnedAway: own.length, bursts: placedOwn.length };
  });
}

/**
 * Whether a task runs, and what stops it in the middle weather.
 * @param {Kit} kit
 * @param {Asked} asked
 * @param {LaidOut} laid
 * @param {Outcome} outcome
 * @param {number} middle
 * @param {number} k
 */
function taskAnswer(kit, asked, laid, { setup, simulated }, middle, k) {
  const runs = laid.overloads.every(({ burst }) => burst.task !== k);
  if (!runs) return { runs, whyNot: whyTurnedAway(kit, asked, laid, k) };
  const unmetS = simulated.firstUnmetS[k][middle];
  if (unmetS < Infinity) {
    return { runs, whyNot: whyUnmet(kit, unmetS, tooColdAt(setup, unmetS, middle)) };
  }
  const isPlaced = laid.placed.bursts.some((burst) => burst.task === k);
  return { runs, whyNot: isPlaced ? null : whyAbsent(kit, asked.nowS) };
}
