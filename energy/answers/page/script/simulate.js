"use strict";

// One pass through time: sun, chargers, loads and battery settled segment by segment.
// The battery itself moves only in battery.js; here its want is shared out in rank order. The same
// rules as model/simulate.py, without its ledger. Cells lie segment by segment, scenario by
// scenario.

/**
 * Inverter input for output P: idle + P (1 + a) + b P^2 / rated (Schmidt & Sauer 1996).
 * @typedef {{rated_w: number, idle_w: number, a: number, b: number}} Curve
 */

/**
 * What one task asks: mean watts in the segments `rows` (ascending); leadLoss is the share of them
 * that its lead adds at the outlet.
 * @typedef {object} Load
 * @property {number} task
 * @property {string} supply ac | dc12 | usb
 * @property {Int32Array} rows
 * @property {Float64Array} watts
 * @property {number} leadLoss
 */

/**
 * All that decides how the charge goes; n segments, m scenarios (count). Loads stand in rank order;
 * factor (m, one of each task) multiplies the task's watts; course is worked out when first asked.
 * @typedef {object} Case
 * @property {Float64Array} edges n + 1, UTC seconds
 * @property {number} count
 * @property {Float64Array} capacityWh m
 * @property {Battery} battery
 * @property {Int32Array} sunRow n, the row of sunW that a segment takes; -1: dark
 * @property {Float64Array} sunW rows x m, watts at the panel side of the controller
 * @property {number} controllerEfficiency
 * @property {Float64Array} chargerW n
 * @property {Int32Array} tempRow n, the row of temp that a segment takes
 * @property {Float64Array} temp rows x (m or 1), deg C
 * @property {number} tempColumns m or 1
 * @property {number} idleW
 * @property {Curve | null} inverter
 * @property {Uint8Array} inverterOn n
 * @property {{dc12: number, usb: number}} outletEfficiency
 * @property {Load[]} loads
 * @property {Float64Array[]} factor
 * @property {Course} [course]
 */

/**
 * How it went: when anything first wanted energy in vain, the idle draws too [UTC s, Infinity if
 * never], (m); unmet energy and its first moment, one array (m) a task; empty without books.
 * @typedef {object} Simulated
 * @property {Float64Array} storeWh (n + 1) x m
 * @property {Float64Array} firstShortS
 * @property {Float64Array[]} unmetWh
 * @property {Float64Array[]} firstUnmetS
 */

/**
 * Watts from the DC bus for an output at the AC side.
 * @param {Curve} curve
 * @param {number} outputW
 */
function inverterInputW(curve, outputW) {
  return curve.idle_w + outputW * (1.0 + curve.a + (curve.b * outputW) / curve.rated_w);
}

/**
 * Watts at the AC side that an input can pay for; 0 where it does not cover the idle.
 * @param {Curve} curve
 * @param {number} inputW
 */
function inverterOutputW(curve, inputW) {
  const over = Math.max(inputW - curve.idle_w, 0.0);
  const root = Math.sqrt((1.0 + curve.a) ** 2 + (4.0 * curve.b * over) / curve.rated_w);
  return (2.0 * over) / (1.0 + curve.a + root);
}

/**
 * Run a case from a store (m; left out: its start share).
 * @param {Case} setup
 * @param {Float64Array} [startWh]
 * @param {boolean} [books] false: only the store and when it first runs short
 * @returns {Simulated}
 */
function simulate(setup, startWh, books = true) {
  const { battery, capacityWh, count, edges } = setup;
  const course = courseOf(setup);
  const storeWh = new Float64Array(edges.length * count);
  storeWh.set(startWh || capacityWh.map((capacity) => capacity * battery.start_share));
  const firstShortS = new Float64Array(count).fill(Infinity);
  const tasks = books ? setup.factor : [];
  const unmetWh = tasks.map(() => new Float64Array(count));
  const firstUnmetS = tasks.map(() => new Float64Array(count).fill(Infinity));
  const simulated = { storeWh, firstShortS, unmetWh, firstUnmetS };
  const next = setup.loads.map(() => 0);
  advance(battery, capacityWh, course, storeWh, (segment, scenario, full) => {
    const beginsS = edges[segment] + full * course.hours[segment] * 3600.0;
    firstShortS[scenario] = Math.min(firstShortS[scenario], beginsS);
    if (books) shed(setup, { segment, scenario, full, beginsS }, next, simulated);
  });
  return simulated;
}

/**
 * The same case from a moment on: its segments from the one in which that lies, the first one cut.
 * @param {Case} setup
 * @param {number} atS
 * @returns {Case}
 */
function caseFrom(setup, atS) {
  const row = segmentAt(setup.edges, atS);
  const { hours, rate, coldRow, coldShare, coldColumns } = courseOf(setup);
  const edges = setup.edges.slice(row);
  edges[0] = atS;
  const hoursLeft = hours.slice(row);
  hoursLeft[0] = (edges[1] - atS) / 3600.0;
  return {
    ...setup,
    edges,
    sunRow: setup.sunRow.subarray(row),
    chargerW: setup.chargerW.subarray(row),
    tempRow: setup.tempRow.subarray(row),
    inverterOn: setup.inverterOn.subarray(row),
    loads: setup.loads.map((load) => loadFrom(load, row)),
    course: {
      hours: hoursLeft,
      rate: rate.subarray(row * setup.count),
      coldRow: coldRow.subarray(row),
      coldShare,
      coldColumns,
    },
  };
}

/**
 * The segment in which a moment lies; the last one for the end.
 * @param {Float64Array} edges
 * @param {number} timeS
 */
function segmentAt(edges, timeS) {
  let low = 0;
  let high = edges.length - 1;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (edges[middle] <= timeS) low = middle;
    else high = middle;
  }
  return low;
}

/**
 * @param {Load} load
 * @param {number} first
 * @returns {Load}
 */
function loadFrom(load, first) {
  const rows = load.rows.filter((row) => row >= first).map((row) => row - first);
  return { ...load, rows, watts: load.watts.subarray(load.rows.length - rows.length) };
}

/**
 * What the store of a case meets, which its charge does not change.
 * @param {Case} setup
 * @returns {Course}
 */
function courseOf(setup) {
  if (setup.course === undefined) {
    const { battery, edges, temp, tempRow, tempColumns } = setup;
    setup.course = {
      hours: Float64Array.from(setup.chargerW, (_, i) => (edges[i + 1] - edges[i]) / 3600.0),
      rate: ratesOf(setup),
      coldRow: tempRow,
      coldShare: temp.map((temperatureC) => coldUnavailableShare(battery, temperatureC)),
      coldColumns: tempColumns,
    };
  }
  return setup.course;
}

/**
 * The rate that is offered to the store (+) or asked of it (-) in each cell [Wh/h], n x m.
 * @param {Case} setup
 */
function ratesOf(setup) {
  const { battery, capacityWh, count, inverter, outletEfficiency } = setup;
  const { ac, dc12, usb } = outletsOf(count);
  const next = setup.loads.map(() => 0);
  const rate = new Float64Array(setup.chargerW.length * count);
  const mayCharge = Uint8Array.from(setup.temp, (temperatureC) => +!frozen(battery, temperatureC));
  const across = setup.tempColumns > 1 ? 1 : 0;
  for (let i = 0, cell = 0; i < setup.chargerW.length; i++) {
    addLoads(setup, i, next, { ac, dc12, usb });
    const curve = inverter !== null && setup.inverterOn[i] ? inverter : null;
    const steady = setup.chargerW[i] - setup.idleW;
    const lit = setup.sunRow[i] * count;
    let air = setup.tempRow[i] * setup.tempColumns;
    for (let s = 0; s < count; s++, cell++, air += across) {
      const solar = lit >= 0 ? setup.sunW[lit + s] * setup.controllerEfficiency : 0.0;
      let asked = dc12[s] / outletEfficiency.dc12 + usb[s] / outletEfficiency.usb;
      if (curve !== null) asked += inverterInputW(curve, ac[s]);
      const net = solar + steady - asked;
      const terminal = net > 0.0 ? Math.min(net, battery.charge_max_w) * mayCharge[air] : net;
      const stored = terminalToRate(terminal, capacityWh[s], battery.resistive_h);
      rate[cell] = stored > 0.0 ? stored * battery.coulombic : stored;
    }
  }
  return rate;
}

/** Watts at each kind of outlet, by scenario. @typedef {Record<string, Float64Array>} Outlets */

/**
 * @param {number} count
 * @returns {Outlets}
 */
function outletsOf(count) {
  return {
    ac: new Float64Array(count),
    dc12: new Float64Array(count),
    usb: new Float64Array(count),
  };
}

/**
 * Sum what the tasks ask at the outlets in a segment; next: of each load the first row not yet
 * passed.
 * @param {Case} setup
 * @param {number} segment
 * @param {number[]} next
 * @param {Outlets} outlets
 */
function addLoads(setup, segment, next, outlets) {
  outlets.ac.fill(0.0);
  outlets.dc12.fill(0.0);
  outlets.usb.fill(0.0);
  for (let k = 0; k < setup.loads.length; k++) {
    const load = setup.loads[k];
    if (load.rows[next[k]] !== segment) continue;
    const watts = load.watts[next[k]++] * (1.0 + load.leadLoss);
    const factor = setup.factor[load.task];
    const outlet = outlets[load.supply];
    for (let s = 0; s < outlet.length; s++) outlet[s] += watts * factor[s];
  }
}

/**
 * A cell in which the store ran out: from when [UTC s], and for which share of it all was served.
 * @typedef {{segment: number, scenario: number, full: number, beginsS: number}} Short
 */

/**
 * Settle a cell in which the store ran out: for the rest of it what still comes in goes to the
 * pack's idle, then to tasks by rank, the inverter's idle before the first mains task. next: of
 * each load the first row not before the last such cell.
 * @param {Case} setup
 * @param {Short} short
 * @param {number[]} next
 * @param {Simulated} simulated
 */
function shed(setup, short, next, simulated) {
  const { segment, scenario } = short;
  const left = leftOver(setup, short, simulated.storeWh);
  const supplied = { left, servedAc: 0.0, inverterPaid: false };
  const rest = (1.0 - short.full) * courseOf(setup).hours[segment];
  for (let k = 0; k < setup.loads.length; k++) {
    const load = setup.loads[k];
    while (load.rows[next[k]] < segment) next[k]++;
    if (load.rows[next[k]] !== segment) continue;
    const lead = 1.0 + load.leadLoss;
    const watts = load.watts[next[k]] * setup.factor[load.task][scenario] * lead;
    const missing = ((watts - serve(setup, load.supply, watts, supplied)) / lead) * rest;
    const firstS = simulated.firstUnmetS[load.task];
    simulated.unmetWh[load.task][scenario] += missing;
    if (missing > 1e-9) firstS[scenario] = Math.min(firstS[scenario], short.beginsS);
  }
}

/**
 * What is left of what comes in for the tasks [W at the bus]: all of it in the order of rank.
 * @typedef {{left: number, servedAc: number, inverterPaid: boolean}} Supplied
 */

/**
 * Serve a task from what is left; how many of its watts it gets.
 * @param {Case} setup
 * @param {string} supply
 * @param {number} watts
 * @param {Supplied} supplied
 */
function serve(setup, supply, watts, supplied) {
  if (supply === "dc12" || supply === "usb") {
    const efficiency = setup.outletEfficiency[supply];
    const cost = Math.min(watts / efficiency, supplied.left);
    supplied.left -= cost;
    return cost * efficiency;
  }
  const curve = setup.inverter;
  if (curve === null || watts <= 0.0) return 0.0;
  if (!supplied.inverterPaid) {
    if (supplied.left < curve.idle_w) return 0.0;
    supplied.left -= curve.idle_w;
    supplied.inverterPaid = true;
  }
  const before = inverterInputW(curve, supplied.servedAc);
  const cost = inverterInputW(curve, supplied.servedAc + watts) - before;
  const isEnough = cost <= supplied.left;
  const got = isEnough
    ? watts
    : inverterOutputW(curve, before + supplied.left) - supplied.servedAc;
  supplied.left -= Math.min(cost, supplied.left);
  supplied.servedAc += got;
  return got;
}

/**
 * What still comes in for the tasks where the store has run out [W at the bus]: sun, charger and
 * what a lead-acid battery gives from its bound well, less the pack's idle.
 * @param {Case} setup
 * @param {Short} short
 * @param {Float64Array} storeWh
 */
function leftOver(setup, short, storeWh) {
  const { segment, scenario } = short;
  const row = setup.sunRow[segment];
  const sunW = row >= 0 ? setup.sunW[row * setup.count + scenario] : 0.0;
  const comesW = sunW * setup.controllerEfficiency + setup.chargerW[segment];
  const left = comesW + trickleW(setup, short, storeWh);
  return left - Math.min(left, setup.idleW);
}

/**
 * What a lead-acid battery still gives in the rest of a cell [W at the bus]; nothing of lithium.
 * @param {Case} setup
 * @param {Short} short
 * @param {Float64Array} storeWh
 */
function trickleW(setup, { segment, scenario, full }, storeWh) {
  const { battery, capacityWh, count } = setup;
  const { hours, rate } = courseOf(setup);
  const cell = segment * count + scenario;
  const [before, after] = [storeWh[cell], storeWh[cell + count]];
  const drop = before - after;
  const leaks = (battery.self_discharge_per_h * hours[segment] * (before + after)) / 2.0;
  const given = drop - Math.min(Math.max(drop, 0.0), leaks);
  const beyond = Math.max(given + rate[cell] * full * hours[segment], 0.0);
  const trickle = beyond / Math.max((1.0 - full) * hours[segment], 1e-12);
  return -rateToTerminal(-trickle, capacityWh[scenario], battery.resistive_h);
}
