"use strict";

// How many more repeats, charges or minutes of a tool fit today. They are laid into the gaps that
// the limits leave in what is left of its window, behind all that is planned; what is said to fit
// was simulated. Another choice of times may find room for more; whose hands are free is not asked.

/** @typedef {{count: number, unit: "times" | "charges" | "minutes", why: string | null}} HowMany */

/**
 * A stretch of time in which a tool may run, and how many steps of its unit that holds.
 * @typedef {{interval: Interval, holds: number}} Gap
 */

const LAST_PRIORITY = 1000;
const STEP_MIN = 5; // what has no repeats is counted in steps of so many minutes
const LEAST_WINDOW_S = 300; // in less nobody begins
const MOST_MORE = 1000;

/**
 * How many more of a tool fit from a moment to the end of its window today, at the plan's goal;
 * why: what forbids even one, null where some fit.
 * @param {Kit} kit
 * @param {Asked} asked
 * @param {Task} tool
 * @param {number} fromS
 * @returns {HowMany}
 */
function howManyMore(kit, asked, tool, fromS) {
  const unit = countedIn(tool);
  /**
   * @param {string} why
   * @returns {HowMany}
   */
  const none = (why) => ({ count: 0, unit, why });
  const planned = layOut(kit, asked);
  if (!reachesGoal(kit, planned)) return none("the plan itself misses its goal");
  const window = windowLeft(kit, asked, tool, fromS);
  if (window === null) return none("no time is left for it today");
  const gaps = gapsFor(kit, asked, planned, tool, window);
  const most = gaps.reduce((sum, { holds }) => sum + holds, 0);
  if (most < 1) return none(whyNoGap(kit, asked, tool, window));
  /** @param {number} steps */
  const fits = (steps) => {
    const laid = layOut(kit, withMore(kit, asked, tool, gaps, steps));
    const isLetRun = laid.overloads.length === planned.overloads.length;
    return isLetRun && laid.problems.length === planned.problems.length && reachesGoal(kit, laid);
  };
  if (!fits(1)) return none("with it the plan misses its goal");
  return { count: largest(fits, Math.min(most, MOST_MORE)) * stepOf(unit), unit, why: null };
}

/**
 * The largest number up to `most` that does, where 1 does: by doubling, then halving.
 * @param {(number: number) => boolean} does
 * @param {number} most
 */
function largest(does, most) {
  let enough = 1;
  let tooMany = most + 1;
  while (enough + 1 < tooMany) {
    const tried = tooMany > most ? Math.min(2 * enough, most) : (enough + tooMany) >> 1;
    if (does(tried)) enough = tried;
    else tooMany = tried;
  }
  return enough;
}

/**
 * Whether the chance reaches the goal in all weathers that decide; overloads are not looked at.
 * @param {Kit} kit
 * @param {LaidOut} laid
 */
function reachesGoal({ data }, { cases }) {
  return cases.every((setup) => {
    const simulated = simulate(setup, undefined, false);
    const { above } = lowestPoint(setup, simulated.storeWh);
    return reached(succeeds(above, simulated, data.reserve_percent), data.goal_percent);
  });
}

/**
 * @param {Task} tool
 * @returns {HowMany["unit"]}
 */
function countedIn(tool) {
  if (tool.kind === "charging") return "charges";
  return repeatS(tool) === null ? "minutes" : "times";
}

/**
 * In steps of how many it is counted.
 * @param {HowMany["unit"]} unit
 */
function stepOf(unit) {
  return unit === "minutes" ? STEP_MIN : 1;
}

/**
 * How long one step takes [s].
 * @param {Task} tool
 */
function stepS(tool) {
  return countedIn(tool) === "minutes" ? 60 * STEP_MIN : repeatS(tool) || Infinity;
}

/**
 * The rest of the tool's own window today; where that is over or it has none, of the daylight;
 * after that of the day. Null where too little is left to begin.
 * @param {Kit} kit
 * @param {Asked} asked
 * @param {Task} tool
 * @param {number} fromS
 */
function windowLeft(kit, { nowS }, { between }, fromS) {
  const today = dayOf(kit, fromS);
  const beginsS = Math.max(fromS, nowS ?? kit.data.span[0]);
  const lastS = Math.min(kit.data.span[1], beginsS + DAY_S - 60);
  const own = between ? [today - 1, today].map((day) => windowOn(kit, between, day)) : [];
  const daylight = momentOn(kit, ["sunset", 0], today);
  const midnight = momentOn(kit, MIDNIGHT, today);
  for (const open of [...own, [beginsS, daylight], [beginsS, midnight]]) {
    if (open === null) continue;
    const [startS, endS] = [Math.max(open[0], beginsS), Math.min(open[1], lastS)];
    if (endS - startS >= LEAST_WINDOW_S) return /** @type {Interval} */ ([startS, endS]);
  }
  return null;
}

/**
 * The stretches of a window in which the limits let a tool begin and run beside what is planned.
 * @param {Kit} kit
 * @param {Asked} asked
 * @param {LaidOut} planned
 * @param {Task} tool
 * @param {Interval} window
 */
function gapsFor(kit, asked, planned, tool, [fromS, untilS]) {
  const { edges } = planned.cases[0];
  /** @type {Interval[]} */
  const free = [];
  for (const [row, isFree] of roomFor(kit, asked, planned, tool).entries()) {
    const [startS, endS] = [Math.max(edges[row], fromS), Math.min(edges[row + 1], untilS)];
    if (!isFree || startS >= endS) continue;
    const last = free[free.length - 1];
    if (last && last[1] === startS) last[1] = endS;
    else free.push([startS, endS]);
  }
  const eachS = stepS(tool);
  return free
    .map((interval) => ({ interval, holds: Math.floor((interval[1] - interval[0]) / eachS) }))
    .filter(({ holds }) => holds > 0);
}

/**
 * In which segments a tool may begin and run beside what is planned.
 * @param {Kit} kit
 * @param {Asked} asked
 * @param {LaidOut} planned
 * @param {Task} tool
 */
function roomFor({ limits }, { tasks }, { cases, bursts: running, placed }, tool) {
  if (tool.supply === "ac" && limits.curve === null) return [];
  const sums = noSums(cases[0].edges, limits, placed.begun);
  for (const burst of running) addBurst(sums, burst, tasks[burst.task]);
  switchOnAll(sums, running, tasks);
  const watts = Math.max(...steps(tool, stepS(tool)).map(({ workingW }) => workingW));
  if (tool.supply === "ac" && isByTasks(limits)) sums.on.fill(1);
  for (let row = 0; row < sums.on.length; row++) {
    sums.outletW[tool.supply][row] += watts;
    if (tool.supply !== "ac") continue;
    sums.va[row] += watts / tool.power_factor;
    if (tool.start_w > watts) addSurge(sums, row, tool, watts);
  }
  const met = limitsMet(sums, tool.supply);
  return Array.from(sums.on, (_, row) =>
    met.every(({ allowed, askedIn }) => askedIn(row) <= allowed * MAY_PASS));
}

/**
 * Why a tool finds no gap: the limit it breaks, or no time for a whole repeat.
 * @param {Kit} kit
 * @param {Asked} asked
 * @param {Task} tool
 * @param {Interval} window
 */
function whyNoGap(kit, asked, tool, window) {
  const one = withMore(kit, asked, tool, [{ interval: window, holds: 1 }], 1);
  const laid = layOut(kit, one);
  const last = one.tasks.length - 1;
  const isRefused = laid.overloads.some(({ burst }) => burst.task === last);
  return isRefused ? whyTurnedAway(kit, one, laid, last) : "no time is left for it today";
}

/**
 * What is asked, with so many steps more of a tool, spread over some gaps of today.
 * @param {Kit} kit
 * @param {Asked} asked
 * @param {Task} tool
 * @param {Gap[]} gaps
 * @param {number} many
 * @returns {Asked}
 */
function withMore(kit, asked, tool, gaps, many) {
  const most = gaps.reduce((sum, { holds }) => sum + holds, 0);
  const spare = Math.max(-1, ...asked.tasks.map((task) => task.spare ?? -1)) + 1;
  const tasks = asked.tasks.slice();
  let passed = 0;
  let laid = 0;
  for (const { interval, holds } of gaps) {
    passed += holds;
    const until = Math.floor((passed * many) / most + 1e-9);
    if (until > laid) tasks.push(moreIn(kit, { ...tool, spare }, interval, until - laid));
    laid = until;
  }
  return { ...asked, tasks };
}

/**
 * Some steps of a tool in an interval of today. They have no name, so that nothing said of the
 * plan's tasks is said of them.
 * @param {Kit} kit
 * @param {Task} tool
 * @param {Interval} interval
 * @param {number} many
 * @returns {Task}
 */
function moreIn(kit, tool, [startS, endS], many) {
  const day = dayOf(kit, startS);
  const unit = countedIn(tool);
  /** @param {number} timeS */
  const minuteOf = (timeS) => (toLocal(kit, timeS) - day * DAY_S) / 60;
  const closes = minuteOf(endS);
  return {
    ...tool,
    ...{ name: "", tool: null, with: null, after: null, must: false, priority: LAST_PRIORITY },
    ...{ times: null, charges: null, minutes: null, hours: null, [unit]: many * stepOf(unit) },
    ...{ at: null, days: [day - kit.firstDay + 1] },
    between: [["clock", minuteOf(startS)], ["clock", closes > 1440 ? closes - 1440 : closes]],
  };
}
