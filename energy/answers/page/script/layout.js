"use strict";

// From the page's data and what is asked to the cases that are simulated: cells, limits, sun, loads.
// layOut(kit, asked) gives the bursts that run as `bursts`, all of them as `placed.bursts`; what
// does not fit its window is a line in `problems`, and nothing of that task is placed.

/**
 * @typedef {{
 *   count: number, shift_days?: number[], sun: {unit_w: number, data: string},
 *   temp: {columns: number, data: string}, capacity_wh: string,
 * }} WeatherData
 * @typedef {{
 *   zone: {name: string, offsets: [number, number][]}, span: Interval,
 *   dates: {first: string, last: string, sun: Interval[]},
 *   goal_percent: number, reserve_percent: number, mean_uncertain: boolean,
 *   cells: number[], lit: number[], weathers: WeatherData[],
 *   skies?: Record<string, number[]>,
 *   normals?: Record<string, string>, spare?: string[], battery: Battery,
 *   controller_efficiency: number, idle_w: number, chargers: [number, number, number][],
 *   limits: Omit<Limits, "idle_w" | "battery_max_w"> & {battery_max_w: number | null},
 *   tasks: Task[], [key: string]: any,
 * }} PageData
 */

/**
 * Sun (lit x count, watts), temperatures (cells x columns, deg C) and what the pack holds in count
 * scenarios.
 * @typedef {{
 *   count: number, sunW: Float64Array, temp: Float64Array, tempColumns: number,
 *   capacityWh: Float64Array,
 * }} Weather
 */

/**
 * What the page carries, decoded. rowOfCell is the row of sun of each cell, -1 where it is dark;
 * normals are the standard normals of the tasks, by name, and spare those for tasks added.
 * @typedef {{
 *   data: PageData, firstDay: number, lastDay: number, cells: Float64Array, rowOfCell: Int32Array,
 *   weathers: Weather[], normals: Map<string, Float32Array>,
 *   spare: Float32Array[], limits: Limits,
 * }} Kit
 */

/**
 * What is asked: the tasks; from when, with which charge and what done, null from the start; under
 * which sky from a time on, null as foreseen.
 * @typedef {{
 *   tasks: Task[], nowS: number | null, percent: number | null, done: Record<string, number>,
 *   sky: {name: string, fromS: number, untilS: number} | null,
 * }} Asked
 */

/**
 * @typedef {{
 *   cases: Case[], overloads: Overload[], bursts: Burst[], placed: Placed, progress: Progress[],
 *   problems: Problem[],
 * }} LaidOut
 */

/** @typedef {{edges: Float64Array, cell: Int32Array, inverterOn: Uint8Array, loads: Load[]}} Shared */

const BASE64 = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";

// --- what the page carries ----------------------------------------------------------------------

/**
 * @param {PageData} data
 * @returns {Kit}
 */
function decode(data) {
  const cells = new Float64Array(data.cells);
  const rowOfCell = new Int32Array(cells.length - 1).fill(-1);
  for (const [row, cell] of data.lit.entries()) rowOfCell[cell] = row;
  const battery_max_w = data.limits.battery_max_w ?? Infinity;
  return {
    data,
    firstDay: dayNumber(data.dates.first),
    lastDay: dayNumber(data.dates.last),
    cells,
    rowOfCell,
    weathers: data.weathers.map(weatherOf),
    normals: new Map(Object.entries(data.normals || {}).map(([name, z]) => [name, floatsOf(z)])),
    spare: (data.spare || []).map(floatsOf),
    limits: { ...data.limits, battery_max_w, idle_w: data.idle_w },
  };
}

/**
 * @param {WeatherData} weather
 * @returns {Weather}
 */
function weatherOf({ count, sun, temp, capacity_wh }) {
  const units = new Uint16Array(bytesOf(sun.data));
  const hundredths = new Int16Array(bytesOf(temp.data));
  return {
    count,
    sunW: new Float64Array(units).map((value) => value * sun.unit_w),
    temp: new Float64Array(hundredths).map((value) => value / 100),
    tempColumns: temp.columns,
    capacityWh: new Float64Array(bytesOf(capacity_wh)),
  };
}

/** @param {string} text  base64 */
function floatsOf(text) {
  return new Float32Array(bytesOf(text));
}

/**
 * The bytes of a base64 text; an engine without a browser has no decoder of its own.
 * @param {string} text
 */
function bytesOf(text) {
  const valueOf = new Uint8Array(128);
  for (let k = 0; k < BASE64.length; k++) valueOf[BASE64.charCodeAt(k)] = k;
  const length = text.indexOf("=") < 0 ? text.length : text.indexOf("=");
  const bytes = new Uint8Array((length * 3) >> 2);
  let bits = 0;
  let at = 0;
  for (let k = 0; k < length; k++) {
    bits = (bits << 6) | valueOf[text.charCodeAt(k)];
    if (k % 4 !== 0) bytes[at++] = bits >> (6 - 2 * (k % 4));
  }
  return bytes.buffer;
}

// --- what is asked ------------------------------------------------------------------------------

/**
 * The cases to simulate, one a weather, and what was settled on the way.
 * @param {Kit} kit
 * @param {Asked} asked
 * @returns {LaidOut}
 */
function layOut(kit, asked) {
  const { tasks, nowS, done } = asked;
  /** @type {Interval} */
  const span = [nowS ?? kit.data.span[0], kit.data.span[1]];
  const { every, problems } = daysOf(kit, tasks);
  const progress = progressOf(kit, tasks, every, span, done);
  const placed = placeBursts(kit, tasks, every, span, leftByWindow(progress));
  const edges = edgesOf(kit, span, placed.bursts, asked.sky);
  const order = ranked(tasks);
  const refused = overloads(edges, placed.bursts, tasks, order, kit.limits, placed.begun);
  const turnedAway = new Set(refused.map(({ burst }) => burst));
  const running = placed.bursts.filter((burst) => !turnedAway.has(burst));
  const shared = {
    edges,
    cell: cellOf(edges, kit.cells),
    inverterOn: inverterOn(edges, running, tasks, kit.limits, placed.begun),
    loads: loadsOf(edges, running, tasks, order),
  };
  const cases = kit.weathers.map((weather) => caseOf(kit, asked, weather, shared));
  return { cases, overloads: refused, bursts: running, placed, progress, problems };
}

/**
 * The bursts of some tasks that a limit turns away in the whole span, whatever was done of them.
 * @param {Kit} kit
 * @param {Task[]} tasks
 */
function turnedAwayOf(kit, tasks) {
  const { span } = kit.data;
  const placed = placeBursts(kit, tasks, daysOf(kit, tasks).every, span, new Map()).bursts;
  const edges = edgesOf(kit, span, placed, null);
  const refused = overloads(edges, placed, tasks, ranked(tasks), kit.limits, new Set());
  return refused.map(({ burst }) => burst);
}

/**
 * Task numbers in rank order: what must run, then by priority, then as written.
 * @param {Task[]} tasks
 */
function ranked(tasks) {
  return [...tasks.keys()].sort((a, b) => Number(tasks[b].must) - Number(tasks[a].must) ||
    tasks[a].priority - tasks[b].priority || a - b);
}

/**
 * Edges of the segments: those of the cells and wherever a burst, a charger, the inverter's own
 * time or a stated sky begins or ends.
 * @param {Kit} kit
 * @param {Interval} span
 * @param {Burst[]} placed
 * @param {Asked["sky"]} sky
 */
function edgesOf(kit, span, placed, sky) {
  const marks = Array.from(kit.cells);
  for (const { pieces } of placed) {
    for (const { startS, endS } of pieces) marks.push(startS, endS);
  }
  for (const [startS, endS] of kit.data.chargers) marks.push(startS, endS);
  if (Array.isArray(kit.limits.on)) marks.push(...kit.limits.on.flat());
  if (sky) marks.push(sky.fromS, sky.untilS);
  return grid(span, marks);
}

/**
 * The mean watts of every task that runs, by segment, in rank order.
 * @param {Float64Array} edges
 * @param {Burst[]} running
 * @param {Task[]} tasks
 * @param {number[]} order
 */
function loadsOf(edges, running, tasks, order) {
  /** @type {Burst[][]} */
  const byTask = tasks.map(() => []);
  for (const burst of running) byTask[burst.task].push(burst);
  return order
    .filter((k) => byTask[k].length > 0)
    .map((k) => loadOf(edges, byTask[k], k, tasks[k]));
}

/**
 * What some bursts ask by segment, as one load.
 * @param {Float64Array} edges
 * @param {Burst[]} running
 * @param {number} k
 * @param {Task} task
 * @returns {Load}
 */
function loadOf(edges, running, k, { supply, lead_loss }) {
  const total = new Float64Array(edges.length - 1);
  const asks = new Uint8Array(edges.length - 1);
  for (const { pieces, startS: fromS } of running) {
    let first = edgeAt(edges, fromS);
    for (const { startS, endS, meanW } of pieces) {
      while (edges[first] < startS) first += 1;
      for (let row = first; edges[row] < endS; row++) {
        total[row] += meanW;
        asks[row] = 1;
      }
    }
  }
  const rows = rowsWhere(asks);
  const watts = new Float64Array(rows.length).map((_, at) => total[rows[at]]);
  return { task: k, supply, rows, watts, leadLoss: lead_loss };
}

/** @param {Uint8Array} flags  one a segment */
function rowsWhere(flags) {
  const rows = new Int32Array(flags.length);
  let count = 0;
  for (let row = 0; row < flags.length; row++) {
    if (flags[row]) rows[count++] = row;
  }
  return rows.slice(0, count);
}

/**
 * @param {Kit} kit
 * @param {Asked} asked
 * @param {Weather} weather
 * @param {Shared} shared
 * @returns {Case}
 */
function caseOf(kit, { tasks, percent, sky }, weather, { edges, cell, inverterOn, loads }) {
  const { data, limits } = kit;
  const battery = { ...data.battery };
  if (percent !== null) battery.start_share = percent / 100;
  return {
    edges,
    count: weather.count,
    capacityWh: weather.capacityWh,
    battery,
    ...sunUnder(kit, sky, weather, edges, cell),
    controllerEfficiency: data.controller_efficiency,
    chargerW: chargerOf(kit, edges),
    tempRow: cell,
    temp: weather.temp,
    tempColumns: weather.tempColumns,
    idleW: data.idle_w,
    inverter: limits.curve,
    inverterOn,
    outletEfficiency: limits.outlet_efficiency,
    loads,
    factor: tasks.map((task) => factorOf(kit, task, weather.count)),
  };
}

/**
 * The sun of a weather and the row that each segment takes; from fromS to untilS the stated sky's.
 * @param {Kit} kit
 * @param {Asked["sky"]} sky
 * @param {Weather} weather
 * @param {Float64Array} edges
 * @param {Int32Array} cell
 */
function sunUnder({ data, rowOfCell }, sky, { count, sunW }, edges, cell) {
  const sunRow = cell.map((k) => rowOfCell[k]);
  const skyW = sky && data.skies ? data.skies[sky.name] : null;
  if (!sky || !skyW) return { sunRow, sunW };
  const lit = data.lit.length;
  const both = new Float64Array(2 * lit * count);
  both.set(sunW);
  skyW.forEach((watts, row) => both.fill(watts, (lit + row) * count, (lit + row + 1) * count));
  const under = sunRow.map((row, k) => {
    const isStated = row >= 0 && sky.fromS <= edges[k] && edges[k] < sky.untilS;
    return isStated ? lit + row : row;
  });
  return { sunRow: under, sunW: both };
}

/**
 * What the chargers give in each segment [W].
 * @param {Kit} kit
 * @param {Float64Array} edges
 */
function chargerOf({ data }, edges) {
  const chargerW = new Float64Array(edges.length - 1);
  for (const [startS, endS, watts] of data.chargers) {
    for (let row = edgeAt(edges, startS); edges[row] < endS; row++) chargerW[row] += watts;
  }
  return chargerW;
}

/**
 * The random factors of a task, of mean 1, one a scenario; tasks of one name share them.
 * @param {Kit} kit
 * @param {Task} task
 * @param {number} count
 */
function factorOf({ normals, spare }, task, count) {
  const own = task.spare == null ? normals.get(task.name) : spare[task.spare];
  if (count === 1 || task.spread_percent === 0 || !own) return new Float64Array(count).fill(1);
  const sigma = Math.sqrt(Math.log1p((task.spread_percent / 100) ** 2));
  const mean = (sigma * sigma) / 2;
  return new Float64Array(own.subarray(0, count)).map((z) => Math.exp(sigma * z - mean));
}
