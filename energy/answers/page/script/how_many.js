"use strict";

// How many more repeats, charges or minutes of a tool fit today. They are laid over what is left of
// its window as one more task behind all others, so that nothing planned is given up for them; what
// is said to fit was simulated. Another placing may find room for more.

/** @typedef {{count: number, unit: "times" | "charges" | "minutes", why: string | null}} HowMany */

const LAST_PRIORITY = 1000;
const STEP_MIN = 5; // what has no repeats is counted in steps of so many minutes
const LEAST_WINDOW_S = 300; // in less nobody begins
const MOST_MORE = 1000;
const MOST_STARTS = 12;

/**
 * How many more of a tool fit from a moment to the end of its window today, at the plan's goal; why:
 * what forbids even one, null where some fit.
 * @param {Kit} kit @param {Asked} asked @param {Task} tool @param {number} fromS
 * @returns {HowMany}
 */
function howManyMore(kit, asked, tool, fromS) {
  const unit = countedIn(tool);
  const stepSize = unit === "minutes" ? STEP_MIN : 1;
  /** @param {string} why @returns {HowMany} */
  const none = (why) => ({ count: 0, unit, why });
  const planned = layOut(kit, asked);
  if (!reachesGoal(kit, planned)) return none("the plan itself misses its goal");
  const rest = windowLeft(kit, asked, tool, fromS);
  const most = rest === null ? 0 : mostThatFit(tool, unit, rest);
  if (rest === null || most < 1) return none("no time is left for it today");
  /** @param {number} steps @param {Interval} window */
  const laidWith = (steps, window) =>
    layOut(kit, withMore(kit, asked, tool, { [unit]: steps * stepSize }, window));
  const window = startsAfter(planned, rest).find(
    (part) => mostThatFit(tool, unit, part) > 0 && lastRuns(laidWith(1, part)),
  );
  if (!window) {
    const refused = refusedOfLast(laidWith(1, rest));
    return none(whyRefused(tool.supply, tool.start_w, refused, refused.length));
  }
  if (!reachesGoal(kit, laidWith(1, window))) return none("with it the plan misses its goal");
  const steps = largest((tried) => {
    const laid = laidWith(tried, window);
    return lastRuns(laid) && reachesGoal(kit, laid);
  }, mostThatFit(tool, unit, window));
  return { count: steps * stepSize, unit, why: null };
}

/**
 * The largest number up to `most` that does, where 1 does: by doubling, then halving.
 * @param {(number: number) => boolean} does @param {number} most
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
 * @param {Kit} kit @param {LaidOut} laid
 */
function reachesGoal({ data }, { cases }) {
  return cases.every((setup) => {
    const simulated = simulate(setup, undefined, false);
    const { above } = lowestPoint(setup, simulated.storeWh);
    return reached(succeeds(above, simulated, data.reserve_percent), data.goal_percent);
  });
}

/**
 * What a limit turns away of the last task.
 * @param {LaidOut} laid
 */
function refusedOfLast({ cases, overloads: refused }) {
  const last = cases[0].factor.length - 1;
  return refused.filter(({ burst }) => burst.task === last);
}

/**
 * Whether all of the last task is placed and let run.
 * @param {LaidOut} laid
 */
function lastRuns(laid) {
  const last = laid.cases[0].factor.length - 1;
  return refusedOfLast(laid).length === 0 && laid.problems.every(({ task }) => task !== last);
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
 * How many steps a window holds.
 * @param {Task} tool @param {HowMany["unit"]} unit @param {Interval} window
 */
function mostThatFit(tool, unit, [startS, endS]) {
  const eachS = unit === "minutes" ? 60 * STEP_MIN : repeatS(tool) || Infinity;
  return Math.min(Math.floor((endS - startS) / eachS), MOST_MORE);
}

/**
 * The rest of the tool's own window today; where that is over or it has none, of the daylight; after
 * that of the day. Null where too little is left to begin.
 * @param {Kit} kit @param {Asked} asked @param {Task} tool @param {number} fromS
 */
function windowLeft(kit, { nowS }, { between }, fromS) {
  const today = dayOf(kit, fromS);
  const beginsS = wholeMinute(Math.max(fromS, nowS ?? kit.data.span[0]));
  const lastS = Math.min(kit.data.span[1], beginsS + DAY_S - 60);
  const own = between ? [today - 1, today].map((day) => windowOn(kit, between, day)) : [];
  const daylight = momentOn(kit, ["sunset", 0], today);
  const midnight = momentOn(kit, MIDNIGHT, today);
  for (const open of [...own, [beginsS, daylight], [beginsS, midnight]]) {
    if (open === null) continue;
    const startS = wholeMinute(Math.max(open[0], beginsS));
    const endS = Math.floor(Math.min(open[1], lastS) / 60) * 60;
    if (endS - startS >= LEAST_WINDOW_S) return /** @type {Interval} */ ([startS, endS]);
  }
  return null;
}

/**
 * A window from its start, and from where something planned in it ends.
 * @param {LaidOut} laid @param {Interval} window
 */
function startsAfter({ bursts: running }, [startS, endS]) {
  const endsS = running.map((burst) => wholeMinute(burst.endS)).sort((a, b) => a - b);
  const later = endsS.filter((timeS) => timeS > startS && timeS + LEAST_WINDOW_S <= endS);
  const starts = [...new Set([startS, ...later])].slice(0, MOST_STARTS);
  return starts.map((timeS) => /** @type {Interval} */ ([timeS, endS]));
}

/** The whole minute at or after a moment. @param {number} timeS */
function wholeMinute(timeS) {
  return Math.ceil(timeS / 60) * 60;
}

/**
 * What is asked, with more of a tool in a window of today. It has no name, so that nothing said of
 * the plan's tasks is said of it.
 * @param {Kit} kit @param {Asked} asked @param {Task} tool
 * @param {Partial<Record<HowMany["unit"], number>>} amount @param {Interval} window
 * @returns {Asked}
 */
function withMore(kit, asked, tool, amount, [startS, endS]) {
  const day = dayOf(kit, startS);
  /** @param {number} timeS */
  const minuteOf = (timeS) => Math.floor((toLocal(kit, timeS) - day * DAY_S) / 60);
  const closes = minuteOf(endS);
  const taken = asked.tasks.map(({ spare }) => spare ?? -1);
  /** @type {Task} */
  const more = {
    ...tool,
    ...{ name: "", tool: null, with: null, after: null, spare: Math.max(-1, ...taken) + 1 },
    ...{ times: null, charges: null, minutes: null, hours: null, ...amount },
    ...{ at: null, days: [day - kit.firstDay + 1], must: false, priority: LAST_PRIORITY },
    between: [["clock", minuteOf(startS)], ["clock", closes > 1440 ? closes - 1440 : closes]],
  };
  return { ...asked, tasks: [...asked.tasks, more] };
}
