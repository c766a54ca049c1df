"use strict";

// What the tasks draw: a burst as steps of constant power, and when the bursts of a plan run.
// Powers are watts at the outlet. Which bursts the limits let run is decided in limits.js.

/**
 * A task with the figures of its tool; keys as in a plan, where null means not stated. `spare` is
 * the number of the random factors that a task added on the page takes.
 * @typedef {{
 *   name: string, tool: string | null, supply: "ac" | "dc12" | "usb",
 *   kind: "steady" | "intermittent" | "cycling" | "charging" | "trace",
 *   working_w: number | null, idle_w: number, duty_percent: number,
 *   on_w: number | null, off_w: number, period_min: number | null,
 *   energy_wh: number | null, power_w: number | null, taper_from_percent: number,
 *   trace: [number, number][] | null, start_w: number, start_s: number, power_factor: number,
 *   spread_percent: number, lead_loss: number, spare?: number | null,
 *   times: number | null, each_s: number | null, minutes: number | null, hours: number | null,
 *   charges: number | null, pause_s: number | null,
 *   between: Between, at: Moment | null, days: number[] | null,
 *   must: boolean, priority: number,
 *   with?: string | null, after?: string | null, hand_held?: boolean, flexible?: boolean,
 * }} Task
 */

/**
 * A stretch of constant power; meanW carries the energy, workingW meets the limits, starts marks
 * the moment of a surge.
 * @typedef {{startS: number, endS: number, meanW: number, workingW: number, starts: boolean}} Step
 */

/**
 * What runs or is refused as a whole: the number of its task and of the window it belongs to, its
 * steps in UTC seconds, cut to the span.
 * @typedef {{task: number, window: number, pieces: Step[], startS: number, endS: number}} Burst
 */

/**
 * A window of a task: its number, the date on which it starts, from when to when the task may run
 * in it, and the plan's repeats or block there.
 * @typedef {{number: number, date: number, window: Interval, intervals: Interval[]}} Day
 */

/**
 * All bursts of a plan inside a span, and the "task window" that began before it.
 * @typedef {{bursts: Burst[], begun: Set<string>}} Placed
 */

/** @typedef {{task: number | null, text: string}} Problem */

const MIDNIGHT = /** @type {Moment} */ (["clock", 1440]);
const TAPER_STEPS = 12; // a charger's falling tail is drawn as so many steps
const SECONDS = { times: 1, charges: 1, minutes: 60, hours: 3600 };

// --- amounts ------------------------------------------------------------------------------------

/**
 * Round to a thousandth, as exact decimals do.
 * @param {number} value
 */
function thousandth(value) {
  const mayBeHalf = (value * 16) % 1 === 0;
  return mayBeHalf ? snap(value) : Number(value.toFixed(3));
}

/**
 * How long one whole charge takes [s]: full power to the taper, then falling in a straight line.
 * @param {Task} task
 */
function chargeS(task) {
  if (task.kind !== "charging" || task.energy_wh == null || task.power_w == null) return null;
  const taper = task.taper_from_percent / 100;
  return thousandth(((3600 * task.energy_wh) / task.power_w) * (taper + 2 * (1 - taper)));
}

/**
 * Length of a block [s]; null where none is stated.
 * @param {Task} task
 */
function durationS(task) {
  if (task.hours != null) return task.hours * 3600;
  return task.minutes == null ? null : task.minutes * 60;
}

/**
 * How many repeats each window holds; null for a block, and for what simply runs on.
 * @param {Task} task
 */
function repeatsOf(task) {
  const once = task.trace != null && durationS(task) === null ? 1 : null;
  return task.times || task.charges || once;
}

/**
 * How long one repeat lasts [s]; null for a tool of which only its time can be counted.
 * @param {Task} task
 */
function repeatS(task) {
  if (task.each_s != null) return task.each_s;
  const trace = task.trace;
  return trace != null ? trace[trace.length - 1][0] - trace[0][0] : chargeS(task);
}

/**
 * From the start of one repeat to the start of the next [s], from a stated time.
 * @param {Task} task
 */
function paceS(task) {
  return (repeatS(task) || 0) + (task.pause_s || 0);
}

/**
 * In what the amount of a task is stated; minutes for what has a window alone.
 * @param {Task} task
 * @returns {"times" | "charges" | "minutes" | "hours"}
 */
function unitOf(task) {
  if (repeatsOf(task) !== null) return task.charges == null ? "times" : "charges";
  return task.hours == null ? "minutes" : "hours";
}

// --- steps --------------------------------------------------------------------------------------

/**
 * The steps of one burst, in seconds from its start, by the tool's kind.
 * @param {Task} task
 * @param {number} lastsS
 */
function steps(task, lastsS) {
  if (task.kind === "cycling") return cyclingSteps(task, lastsS);
  if (task.kind === "charging") return chargingSteps(task, lastsS);
  if (task.kind === "trace") return traceSteps(task, lastsS);
  const workingW = task.working_w || 0;
  const duty = task.kind === "intermittent" ? task.duty_percent / 100 : 1;
  const meanW = duty * workingW + (1 - duty) * task.idle_w;
  return [step(0, lastsS, meanW, workingW, true)];
}

/**
 * @param {number} startS
 * @param {number} endS
 * @param {number} meanW
 * @param {number} workingW
 * @param {boolean} starts
 * @returns {Step}
 */
function step(startS, endS, meanW, workingW, starts) {
  return { startS, endS, meanW, workingW, starts };
}

/**
 * @param {Task} task
 * @param {number} lastsS
 */
function cyclingSteps(task, lastsS) {
  const onW = task.on_w || 0;
  const periodS = (task.period_min || 0) * 60;
  const cycle = [];
  for (let k = 0; k < Math.ceil(lastsS / periodS - 1e-9); k++) {
    const startS = snap(k * periodS);
    const offS = Math.min(snap(startS + (periodS * task.duty_percent) / 100), lastsS);
    const endS = Math.min(snap(startS + periodS), lastsS);
    cycle.push(step(startS, offS, onW, onW, true));
    if (endS > offS) cycle.push(step(offS, endS, task.off_w, task.off_w, false));
  }
  return cycle;
}

/**
 * @param {Task} task
 * @param {number} lastsS
 */
function chargingSteps(task, lastsS) {
  const powerW = task.power_w || 0;
  const fullS = chargeS(task) || 0;
  const flatS = (((3600 * task.taper_from_percent) / 100) * (task.energy_wh || 0)) / powerW;
  const tailS = (fullS - flatS) / TAPER_STEPS;
  const charging = [];
  let startS = 0;
  for (let k = 0; k <= TAPER_STEPS; k++) {
    const endS = snap(k === TAPER_STEPS ? fullS : k * tailS + flatS);
    const watts = k === 0 ? powerW : powerW * (1 - (k - 0.5) / TAPER_STEPS);
    charging.push(step(startS, Math.min(endS, lastsS), watts, watts, startS === 0));
    startS = endS;
  }
  return charging.filter((part) => part.endS > part.startS);
}

/**
 * @param {Task} task
 * @param {number} lastsS
 */
function traceSteps(task, lastsS) {
  const trace = task.trace || [];
  const fromS = trace[0][0];
  const longS = trace[trace.length - 1][0] - fromS;
  return trace
    .map(([timeS, watts], k) => {
      const endS = k + 1 < trace.length ? trace[k + 1][0] - fromS : Math.max(lastsS, longS);
      return step(snap(timeS - fromS), snap(Math.min(endS, lastsS)), watts, watts, k === 0);
    })
    .filter((part) => part.endS > part.startS);
}

/**
 * Lay a task's bursts on the span; what lies outside is cut off, a surge with it. Each on-phase of
 * a cycling load, with the off-phase behind it, is a burst of its own.
 * @param {Task} task
 * @param {number} k  its number
 * @param {number} window
 * @param {Interval[]} intervals
 * @param {Interval} span
 */
function bursts(task, k, window, intervals, span) {
  /** @type {Burst[]} */
  const placed = [];
  for (const [startS, endS] of intervals) {
    if (endS <= span[0] || startS >= span[1]) continue;
    /** @type {Step[]} */
    let pieces = [];
    for (const part of steps(task, endS - startS)) {
      const piece = cut(part, startS, span);
      if (piece.endS <= piece.startS) continue;
      if (task.kind === "cycling" && part.starts && pieces.length > 0) {
        placed.push(burst(k, window, pieces));
        pieces = [];
      }
      pieces.push(piece);
    }
    if (pieces.length > 0) placed.push(burst(k, window, pieces));
  }
  return placed;
}

/**
 * A step laid on the clock and cut to the span.
 * @param {Step} part
 * @param {number} fromS
 * @param {Interval} span
 */
function cut(part, fromS, span) {
  const startS = snap(fromS + part.startS);
  const endS = snap(fromS + part.endS);
  return step(
    Math.max(startS, span[0]),
    Math.min(endS, span[1]),
    part.meanW,
    part.workingW,
    part.starts && startS >= span[0],
  );
}

/**
 * @param {number} task
 * @param {number} window
 * @param {Step[]} pieces  not empty
 * @returns {Burst}
 */
function burst(task, window, pieces) {
  const { startS } = pieces[0];
  const { endS } = pieces[pieces.length - 1];
  return { task, window, pieces, startS, endS };
}

// --- when they run ------------------------------------------------------------------------------

/**
 * The windows of every task that hold something of it, in the plan's order. A task whose repeats do
 * not fit has none, and a line in `problems`.
 * @param {Kit} kit
 * @param {Task[]} tasks
 */
function daysOf(kit, tasks) {
  /** @type {Problem[]} */
  const problems = [];
  const every = tasks.map((task, k) => {
    try {
      return daysOfTask(kit, task);
    } catch (error) {
      if (!(error instanceof RangeError)) throw error;
      problems.push({ task: k, text: error.message });
      return [];
    }
  });
  return { every, problems };
}

/**
 * @param {Kit} kit
 * @param {Task} task
 * @returns {Day[]}
 */
function daysOfTask(kit, task) {
  const amount = repeatsOf(task) || durationS(task);
  const of = [];
  for (const [number, date] of days(kit, task.days).entries()) {
    const window = task.at ? fromStated(kit, task, date, amount) : windowOn(kit, task.between, date);
    if (window) of.push({ number, date, window, intervals: laid(task, window, amount) });
  }
  const kept = oneAtATime(of.map((day) => day.intervals));
  return of.map((day, k) => ({ ...day, intervals: kept[k] }));
}

/**
 * From a task's stated time to the end of that date, or as long as it takes.
 * @param {Kit} kit
 * @param {Task} task
 * @param {number} date
 * @param {number | null} amount
 * @returns {Interval}
 */
function fromStated(kit, task, date, amount) {
  const startS = momentOn(kit, task.at || MIDNIGHT, date);
  const endS = lastOf(laid(task, [startS, Infinity], amount));
  return [startS, Math.max(endS, momentOn(kit, MIDNIGHT, date))];
}

/**
 * A task's repeats in a window, or its block of so many seconds from the start of that; without an
 * amount all of the window. Throws a RangeError where repeats do not fit.
 * @param {Task} task
 * @param {Interval} window
 * @param {number | null} amount
 * @returns {Interval[]}
 */
function laid(task, window, amount) {
  const [startS, endS] = window;
  if (repeatsOf(task) === null) {
    return [[startS, amount === null ? endS : Math.min(snap(startS + amount), endS)]];
  }
  const times = Math.round(amount || 0);
  const eachS = repeatS(task) || 0;
  if (task.at) return oneAfterAnother(startS, times, eachS, paceS(task));
  return equalShares(window, times, eachS);
}

/**
 * Every burst of every task inside the span.
 * @param {Kit} kit
 * @param {Task[]} tasks
 * @param {Day[][]} every  as `daysOf`
 * @param {Interval} span
 * @param {Map<number, Map<number, Left>>} left  of some tasks what was not done before the span, by
 *   the number of the task and of the window; the others go by the clock
 * @returns {Placed}
 */
function placeBursts(kit, tasks, every, span, left) {
  /** @type {Burst[]} */
  const placed = [];
  /** @type {Set<string>} */
  const begun = new Set();
  for (const [k, task] of tasks.entries()) {
    for (const day of every[k]) {
      const parts = left.get(k);
      const still = parts ? stillOf(task, day, parts.get(day.number)) : byClock(kit, day, span);
      for (const one of bursts(task, k, day.number, still.intervals, span)) placed.push(one);
      if (still.begun) begun.add(windowKey(k, day.number));
    }
  }
  return { bursts: placed, begun };
}

/**
 * A window of a task that is done as planned, and whether it began before the span.
 * @param {Kit} kit
 * @param {Day} day
 * @param {Interval} span
 */
function byClock(kit, { intervals }, span) {
  const begun = intervals.some(([startS]) => kit.data.span[0] <= startS && startS < span[0]);
  return { intervals, begun };
}

/**
 * What was not done of a window, and whether it had begun.
 * @param {Task} task
 * @param {Day} day
 * @param {Left | undefined} part
 */
function stillOf(task, day, part) {
  if (!part) return { intervals: [], begun: false };
  if (part.asPlanned) return { intervals: day.intervals, begun: false };
  return { intervals: laid(task, part.window, part.amount), begun: part.begun };
}

/**
 * @param {number} task
 * @param {number} window
 */
function windowKey(task, window) {
  return `${task} ${window}`;
}
