"use strict";

// Which bursts the pack lets run: inverter, surge, outlets, discharge, tasks in rank order. What a
// burst draws is worked out in demand.js.

/**
 * What the pack can deliver at once [W, s]; curve is null without an inverter. on is when the
 * inverter is on.
 * @typedef {{
 *   curve: Curve | null, surge_w: number, surge_s: number,
 *   on: "with-tasks" | "only-in-use" | "always" | Interval[],
 *   outlet_rated_w: {dc12: number, usb: number}, outlet_efficiency: {dc12: number, usb: number},
 *   idle_w: number, discharge_max_w: number, battery_max_w: number,
 * }} Limits
 */

/**
 * Why a burst does not run: the limit's name, the number that broke it, the number allowed, and
 * when most is asked.
 * limit: no-inverter | inverter-off | inverter | surge | surge-time | dc12 | usb | discharge |
 * battery. Watts (inverter: VA; surge-time: seconds).
 * @typedef {{burst: Burst, limit: string, asked: number, allowed: number, atS: number}} Overload
 */

/**
 * Sums per segment of all that is accepted so far; hull is the first segment of each "task window".
 * @typedef {{
 *   edges: Float64Array, limits: Limits, outletW: Record<Task["supply"], Float64Array>,
 *   va: Float64Array, surgeW: Float64Array, surgeS: Float64Array, on: Uint8Array,
 *   hull: Map<string, number>,
 * }} Sums
 */

/** @typedef {[number, number]} Rows  first segment, and the one before which they end */

const MAY_PASS = 1 + 1e-9; // sums of watts may pass a limit by this much

/**
 * Which bursts do not run: tasks in rank order, each beside those ranked before it.
 * @param {Float64Array} edges  hold every start and end of a piece
 * @param {Burst[]} wanted
 * @param {Task[]} tasks
 * @param {number[]} order
 * @param {Limits} limits
 * @param {Set<string>} begun  "task window" whose first burst lies before the first edge
 * @returns {Overload[]}
 */
function overloads(edges, wanted, tasks, order, limits, begun) {
  if (allFit(edges, wanted, tasks, limits, begun)) return [];
  const sums = noSums(edges, limits, begun);
  const rank = new Map(order.map((task, k) => [task, k]));
  /** @param {Burst} burst */
  const rankOf = (burst) => rank.get(burst.task) || 0;
  const queue = wanted.slice().sort((a, b) => rankOf(a) - rankOf(b) || a.startS - b.startS);
  return queue.flatMap((burst) => admit(sums, burst, tasks[burst.task]) || []);
}

/**
 * Whether everything runs together: then there are no `overloads`, else there are.
 * @param {Float64Array} edges
 * @param {Burst[]} wanted
 * @param {Task[]} tasks
 * @param {Limits} limits
 * @param {Set<string>} begun
 */
function allFit(edges, wanted, tasks, limits, begun) {
  const supplies = new Set(wanted.map((burst) => tasks[burst.task].supply));
  if (supplies.has("ac") && limits.curve === null) return false;
  const sums = noSums(edges, limits, begun);
  for (const burst of wanted) addBurst(sums, burst, tasks[burst.task]);
  switchOnAll(sums, wanted, tasks);
  return [...supplies].every((supply) => broken(sums, supply, [0, sums.on.length]) === null);
}

/**
 * 1 for each segment in which the inverter is on, else 0.
 * @param {Float64Array} edges
 * @param {Burst[]} accepted
 * @param {Task[]} tasks
 * @param {Limits} limits
 * @param {Set<string>} begun
 */
function inverterOn(edges, accepted, tasks, limits, begun) {
  if (limits.curve === null) return new Uint8Array(edges.length - 1);
  const sums = noSums(edges, limits, begun);
  switchOnAll(sums, accepted, tasks);
  return sums.on;
}

/**
 * Sums of nothing yet; the inverter on where nothing but the clock decides it.
 * @param {Float64Array} edges
 * @param {Limits} limits
 * @param {Set<string>} begun
 * @returns {Sums}
 */
function noSums(edges, limits, begun) {
  const count = edges.length - 1;
  const zeros = () => new Float64Array(count);
  const on = new Uint8Array(count);
  if (limits.on === "always") on.fill(1);
  else if (Array.isArray(limits.on)) {
    for (const [startS, endS] of limits.on) on.fill(1, edgeAt(edges, startS), edgeAt(edges, endS));
  }
  return {
    edges, limits, on,
    outletW: { ac: zeros(), dc12: zeros(), usb: zeros() },
    va: zeros(), surgeW: zeros(), surgeS: zeros(),
    hull: new Map([...begun].map((key) => [key, 0])),
  };
}

/**
 * Add a burst's watts and starts to the sums.
 * @param {Sums} sums
 * @param {Burst} burst
 * @param {Task} task
 */
function addBurst(sums, burst, task) {
  const outletW = sums.outletW[task.supply];
  let first = edgeAt(sums.edges, burst.startS);
  for (const { startS, endS, workingW, starts } of burst.pieces) {
    while (sums.edges[first] < startS) first += 1;
    const surges = task.supply === "ac" && starts && task.start_w > workingW;
    if (surges) addSurge(sums, first, task, workingW);
    for (let row = first; sums.edges[row] < endS; row++) {
      outletW[row] += workingW;
      if (task.supply === "ac") sums.va[row] += workingW / task.power_factor;
    }
  }
}

/**
 * @param {Sums} sums
 * @param {number} row
 * @param {Task} task
 * @param {number} workingW
 */
function addSurge(sums, row, task, workingW) {
  sums.surgeW[row] += task.start_w - workingW;
  sums.surgeS[row] = Math.max(sums.surgeS[row], task.start_s);
}

/**
 * Keep the inverter on for many bursts: for each, or from a window's first to its last.
 * @param {Sums} sums
 * @param {Burst[]} accepted
 * @param {Task[]} tasks
 */
function switchOnAll(sums, accepted, tasks) {
  const { edges, limits, on, hull } = sums;
  if (!isByTasks(limits)) return;
  /** @type {Map<string | Burst, Interval>} */
  const spells = new Map();
  for (const burst of accepted) {
    if (tasks[burst.task].supply !== "ac") continue;
    const key = limits.on === "with-tasks" ? windowKey(burst.task, burst.window) : burst;
    const [startS, endS] = spells.get(key) || [burst.startS, burst.endS];
    const begun = typeof key === "string" && hull.has(key);
    const fromS = begun ? edges[0] : Math.min(startS, burst.startS);
    spells.set(key, [fromS, Math.max(endS, burst.endS)]);
  }
  for (const [startS, endS] of spells.values()) {
    on.fill(1, edgeAt(edges, startS), edgeAt(edges, endS));
  }
}

/**
 * Let one burst run beside what runs already, or say which limit forbids it.
 * @param {Sums} sums
 * @param {Burst} burst
 * @param {Task} task
 * @returns {Overload | null}
 */
function admit(sums, burst, task) {
  if (task.supply === "ac" && sums.limits.curve === null) {
    return { burst, limit: "no-inverter", asked: 0, allowed: 0, atS: burst.startS };
  }
  const rows = rowsOf(sums, burst, task);
  const changed = [sums.outletW[task.supply], sums.va, sums.surgeW, sums.surgeS, sums.on];
  const before = changed.map((values) => values.slice(...rows));
  addBurst(sums, burst, task);
  if (task.supply === "ac" && isByTasks(sums.limits)) sums.on.fill(1, ...rows);
  const passed = broken(sums, task.supply, rows);
  if (passed) {
    for (const [k, values] of changed.entries()) values.set(before[k], rows[0]);
    return { burst, ...passed };
  }
  const key = windowKey(burst.task, burst.window);
  if (task.supply === "ac" && !sums.hull.has(key)) sums.hull.set(key, rows[0]);
  return null;
}

/**
 * Whether the tasks decide when the inverter is on.
 * @param {Limits} limits
 */
function isByTasks(limits) {
  return limits.on === "with-tasks" || limits.on === "only-in-use";
}

/**
 * The segments in which a burst changes the sums, with those it keeps the inverter on.
 * @param {Sums} sums
 * @param {Burst} burst
 * @param {Task} task
 * @returns {Rows}
 */
function rowsOf({ edges, limits, hull }, burst, task) {
  const first = edgeAt(edges, burst.startS);
  const last = edgeAt(edges, burst.endS);
  if (task.supply !== "ac" || limits.on !== "with-tasks") return [first, last];
  const begins = hull.get(windowKey(burst.task, burst.window));
  return [begins === undefined ? first : Math.min(first, begins), last];
}

/**
 * The first limit that the sums pass in some segments, and when most is asked.
 * @param {Sums} sums
 * @param {Task["supply"]} supply
 * @param {Rows} rows
 */
function broken(sums, supply, [first, last]) {
  for (const { limit, allowed, askedIn } of limitsMet(sums, supply)) {
    let [asked, most] = [0, first];
    for (let row = first; row < last; row++) {
      if (askedIn(row) > asked) [asked, most] = [askedIn(row), row];
    }
    if (asked > allowed * MAY_PASS) return { limit, asked, allowed, atS: sums.edges[most] };
  }
  return null;
}

/**
 * Each limit that the bursts of an outlet meet: its name, what it allows, and what is asked of it
 * in a segment.
 * @param {Sums} sums
 * @param {Task["supply"]} supply
 * @returns {{limit: string, allowed: number, askedIn: (row: number) => number}[]}
 */
function limitsMet(sums, supply) {
  const { limits, outletW } = sums;
  /** @param {number} row */
  const bus = (row) => busW(sums, row);
  const shared = [
    { limit: "discharge", allowed: limits.discharge_max_w, askedIn: bus },
    { limit: "battery", allowed: limits.battery_max_w, askedIn: bus },
  ];
  if (supply === "ac") return [...inverterLimitsMet(sums), ...shared];
  const allowed = limits.outlet_rated_w[supply];
  return [{ limit: supply, allowed, askedIn: (row) => outletW[supply][row] }, ...shared];
}

/**
 * @param {Sums} sums
 * @returns {{limit: string, allowed: number, askedIn: (row: number) => number}[]}
 */
function inverterLimitsMet({ limits, outletW: { ac }, va, surgeW, surgeS, on }) {
  const ratedW = limits.curve ? limits.curve.rated_w : 0;
  /** @param {number} row */
  const surgingW = (row) => ac[row] + surgeW[row];
  return [
    { limit: "inverter-off", allowed: 0, askedIn: (row) => (on[row] || ac[row] <= 0 ? 0 : 1) },
    { limit: "surge", allowed: limits.surge_w, askedIn: surgingW },
    { limit: "inverter", allowed: ratedW, askedIn: (row) => va[row] },
    {
      limit: "surge-time",
      allowed: limits.surge_s,
      askedIn: (row) => (surgingW(row) > ratedW * MAY_PASS ? surgeS[row] : 0),
    },
  ];
}

/**
 * Watts asked of the battery in a segment, losses and idle draws in, the sun not deducted.
 * @param {Sums} sums
 * @param {number} row
 */
function busW({ limits, outletW, on }, row) {
  const { curve, outlet_efficiency: efficiency } = limits;
  const lowW = outletW.dc12[row] / efficiency.dc12 + outletW.usb[row] / efficiency.usb;
  if (!curve || !on[row]) return limits.idle_w + lowW;
  const mainsW = outletW.ac[row];
  const inverterW = curve.idle_w + mainsW * (1 + curve.a + (curve.b * mainsW) / curve.rated_w);
  return limits.idle_w + lowW + inverterW;
}
