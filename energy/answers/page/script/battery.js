"use strict";

// The one place where the battery moves: lithium as one well, lead-acid as two.
// Rates are Wh of store per hour, positive into the store; stores are Wh of the capacity C. What
// the bus asks and who goes short is settled in simulate.js. The same closed forms as
// model/battery.py.

/**
 * A battery's figures; kinetic_c and kinetic_k_per_h only of lead-acid; usable: temperatures [deg
 * C] and the share of the store that can be had then; colder than discharge_min_c it gives nothing.
 * @typedef {object} Battery
 * @property {string} chemistry
 * @property {boolean} lithium
 * @property {number} charge_max_w
 * @property {number} start_share
 * @property {number} resistive_h
 * @property {number} coulombic
 * @property {number} taper_from
 * @property {number} self_discharge_per_h
 * @property {boolean} heated
 * @property {number | null} kinetic_c
 * @property {number | null} kinetic_k_per_h
 * @property {number | null} discharge_min_c
 * @property {[number[], number[]]} usable
 */

/**
 * What the store meets in n segments and m scenarios: rate [Wh/h] offered (+) or asked (-), n x m;
 * coldShare, what the cold withholds [share of C], a row for each row of temperatures with one
 * column or m, and coldRow (n), which row a segment takes.
 * @typedef {object} Course
 * @property {Float64Array} hours
 * @property {Float64Array} rate
 * @property {Int32Array} coldRow
 * @property {Float64Array} coldShare
 * @property {number} coldColumns
 */

/**
 * Called where the store runs out: segment, scenario, and the share of the segment over which the
 * whole rate was given.
 * @typedef {(segment: number, scenario: number, full: number) => void} RunsOut
 */

const FREEZING_C = 0.0; // lithium takes no charge below this (common practice)
const NO_ENERGY = 1e-12; // of the capacity

/**
 * Rate at the store [Wh/h] for a terminal power [W]; the root is held at zero where no rate gives
 * the power.
 * @param {number} terminalW
 * @param {number} capacityWh
 * @param {number} resistiveH
 */
function terminalToRate(terminalW, capacityWh, resistiveH) {
  const inside = 1.0 + (4.0 * resistiveH * terminalW) / capacityWh;
  return (2.0 * terminalW) / (1.0 + Math.sqrt(inside > 0.0 ? inside : 0.0));
}

/**
 * Terminal power [W] for a rate at the store [Wh/h].
 * @param {number} rate
 * @param {number} capacityWh
 * @param {number} resistiveH
 */
function rateToTerminal(rate, capacityWh, resistiveH) {
  return rate + (resistiveH * rate * rate) / capacityWh;
}

/**
 * Whether it is so cold that nothing comes out, however full.
 * @param {Battery} battery
 * @param {number} temperatureC
 */
function tooCold(battery, temperatureC) {
  return battery.discharge_min_c !== null && temperatureC < battery.discharge_min_c;
}

/**
 * The share of C that the cold withholds; of lead-acid from its available well only.
 * @param {Battery} battery
 * @param {number} temperatureC
 */
function coldUnavailableShare(battery, temperatureC) {
  const [temperatures, usable] = battery.usable;
  const share = tooCold(battery, temperatureC)
    ? 1.0
    : 1.0 - interpolate(temperatureC, temperatures, usable);
  return battery.kinetic_c === null ? share : share * battery.kinetic_c;
}

/**
 * Whether the cold forbids charging.
 * @param {Battery} battery
 * @param {number} temperatureC
 */
function frozen(battery, temperatureC) {
  return battery.lithium && !battery.heated && temperatureC < FREEZING_C;
}

/**
 * A value between ascending points, held beyond the ends.
 * @param {number} x
 * @param {number[]} xs
 * @param {number[]} ys
 */
function interpolate(x, xs, ys) {
  let k = 0;
  while (k < xs.length && xs[k] <= x) k++;
  if (k === 0) return ys[0];
  if (k === xs.length) return ys[k - 1];
  return ys[k - 1] + ((ys[k] - ys[k - 1]) / (xs[k] - xs[k - 1])) * (x - xs[k - 1]);
}

/**
 * How steeply the ceiling of charging falls with the store above the taper's start [1/h].
 * @param {Battery} battery
 * @param {number} capacityWh
 */
function taperPerH(battery, capacityWh) {
  const ceiling =
    battery.coulombic * terminalToRate(battery.charge_max_w, capacityWh, battery.resistive_h);
  return ceiling / (capacityWh * Math.max(1.0 - battery.taper_from, 1e-6));
}

/**
 * Move the store through all segments; storeWh, (n + 1) x m, holds the start in its first row and
 * is filled here.
 * @param {Battery} battery
 * @param {Float64Array} capacityWh
 * @param {Course} course
 * @param {Float64Array} storeWh
 * @param {RunsOut} runsOut
 */
function advance(battery, capacityWh, course, storeWh, runsOut) {
  if (battery.kinetic_c === null) advanceOneWell(battery, capacityWh, course, storeWh, runsOut);
  else advanceTwoWells(battery, capacityWh, course, storeWh, runsOut);
}

/**
 * e' = rate - leak e, under the ceiling k (C - e) where that is lower, not below the floor.
 * @param {Battery} battery
 * @param {Float64Array} capacityWh
 * @param {Course} course
 * @param {Float64Array} storeWh
 * @param {RunsOut} runsOut
 */
function advanceOneWell(battery, capacityWh, course, storeWh, runsOut) {
  const { hours, rate, coldRow, coldShare, coldColumns } = course;
  const scenarios = capacityWh.length;
  const leak = battery.self_discharge_per_h;
  const taper = capacityWh.map((capacity) => taperPerH(battery, capacity));
  const across = coldColumns > 1 ? 1 : 0;
  for (let i = 0, cell = 0; i < hours.length; i++) {
    const keeps = Math.exp(-leak * hours[i]);
    const lasts = leak > 0.0 ? -Math.expm1(-leak * hours[i]) / leak : hours[i];
    for (let s = 0, cold = coldRow[i] * coldColumns; s < scenarios; s++, cell++, cold += across) {
      const capacity = capacityWh[s];
      const before = storeWh[cell];
      const kept = before * keeps;
      const moved = rate[cell] * lasts;
      const floor = coldShare[cold] * capacity;
      let after = Math.max(kept + moved, Math.min(before, floor));
      if (rate[cell] > leak * capacity && after > capacity - rate[cell] / taper[s]) {
        after = tapered(before, rate[cell], capacity, taper[s], leak, hours[i]);
      }
      storeWh[cell + scenarios] = after;
      const lost = kept + moved - after; // negative: taken less than asked
      const nothing = -NO_ENERGY * capacity;
      if (moved < nothing && lost < nothing) {
        runsOut(i, s, Math.min(Math.max(1.0 - lost / moved, 0.0), 1.0));
      }
    }
  }
}

/**
 * The store after a segment in which the ceiling binds, from its start or from somewhere in it.
 * @param {number} before
 * @param {number} rate
 * @param {number} capacity
 * @param {number} taper
 * @param {number} leak
 * @param {number} hours
 */
function tapered(before, rate, capacity, taper, leak, hours) {
  const meets = capacity - rate / taper;
  const rest = (capacity * taper) / (taper + leak);
  const until = before < meets ? hoursToMeet(meets - before, rate - leak * before, leak) : 0.0;
  const away = rest - Math.max(before, meets);
  return rest - away * Math.exp(-(taper + leak) * Math.max(hours - until, 0.0));
}

/**
 * How long the store needs to rise by a gap where it rises at `slope` [Wh/h] to begin with and a
 * leak slows it, as a series.
 * @param {number} gapWh
 * @param {number} slope
 * @param {number} leakPerH
 */
function hoursToMeet(gapWh, slope, leakPerH) {
  const straight = gapWh / slope;
  const small = leakPerH * straight;
  return straight * (1.0 + small * (0.5 + small * (1.0 / 3.0 + small / 4.0)));
}

/**
 * The two wells of a lead-acid battery (the kinetic model: Manwell & McGowan 1993,
 * doi:10.1016/0038-092X(93)90060-2): q, both together, and w = available well - c q, so that
 * q' = I and w' = (1 - c) I - k' w.
 */
class Wells {
  /**
   * @param {number} c the available well's share
   * @param {number} perH k' [1/h]
   */
  constructor(c, perH) {
    this.c = c;
    this.perH = perH;
    this.q = 0.0;
    this.w = 0.0;
    this.served = 0.0; // share of the last discharge over which all was given
  }

  /**
   * @param {number} q
   * @param {number} w
   */
  set(q, w) {
    this.q = q;
    this.w = w;
  }

  available() {
    return this.w + this.c * this.q;
  }

  /**
   * What the available well holds after a constant current.
   * @param {number} current
   * @param {number} hours
   */
  availableAfter(current, hours) {
    return this.wAfter(current, hours) + this.c * (this.q + current * hours);
  }

  /**
   * @param {number} current
   * @param {number} hours
   */
  wAfter(current, hours) {
    const decay = Math.exp(-this.perH * hours);
    return this.w * decay + ((1.0 - this.c) * current * (1.0 - decay)) / this.perH;
  }

  /**
   * A constant current.
   * @param {number} current
   * @param {number} hours
   */
  flow(current, hours) {
    this.set(this.q + current * hours, this.wAfter(current, hours));
  }

  /**
   * The available well kept at a level: all that passes is what flows between the wells.
   * @param {number} level
   * @param {number} hours
   */
  hold(level, hours) {
    const w = this.w * Math.exp(-this.c * this.perH * hours);
    this.set((level - w) / this.c, w);
  }

  /**
   * When the available well reaches a level that it has passed at `end` [h], by Newton from the
   * side from which its steps never overshoot.
   * @param {number} current
   * @param {number} level
   * @param {number} end
   */
  reaches(current, level, end) {
    const bend = this.w - ((1.0 - this.c) * current) / this.perH;
    let t = bend * current < 0.0 ? 0.0 : end;
    for (let tries = 0; tries < 40; tries++) {
      const speed = current - this.perH * this.wAfter(current, t);
      const step = speed === 0.0 ? 0.0 : (this.availableAfter(current, t) - level) / speed;
      const before = t;
      t = Math.min(Math.max(t - step, 0.0), end);
      if (Math.abs(t - before) <= 1e-13 * end) break;
    }
    return t;
  }

  /**
   * Discharge where the available well is, or comes, to its floor. Below it nothing is given until
   * the bound well has lifted it; then all that is asked until the floor is reached; then only what
   * the bound well feeds.
   * @param {number} current
   * @param {number} floor
   * @param {number} hours
   */
  runOut(current, floor, hours) {
    const wait = this.available() < floor ? this.lift(floor, hours) : 0.0;
    this.w *= Math.exp(-this.perH * wait);
    let left = hours - wait;
    const passes = this.availableAfter(current, left) < floor;
    const served = passes ? this.reaches(current, floor, left) : left;
    this.flow(current, served);
    left -= served;
    if (this.w < 0.0) this.hold(this.available(), left);
    else this.w *= Math.exp(-this.perH * left);
    this.served = served / hours;
  }

  /**
   * How long the bound well takes to lift the available one to a floor, at most `hours`.
   * @param {number} floor
   * @param {number} hours
   */
  lift(floor, hours) {
    if (!(this.w < 0.0 && this.c * this.q > floor)) return hours;
    const lifted = Math.log(this.w / (floor - this.c * this.q)) / this.perH;
    return Math.min(Math.max(lifted, 0.0), hours);
  }

  /**
   * Charge at the offer, then along the taper [1/h], then as fast as the full well passes it on.
   * @param {number} current
   * @param {number} high
   * @param {number} capacity
   * @param {number} taper
   * @param {number} hours
   */
  fill(current, high, capacity, taper, hours) {
    const atTaper = (capacity - current / taper - this.q) / current;
    let until = Math.min(Math.max(atTaper, 0.0), hours);
    const topped = this.availableAfter(current, until) > high * (1.0 + 1e-12);
    if (topped) until = this.reaches(current, high, until);
    this.flow(current, until);
    const left = hours - until;
    const along = topped ? 0.0 : Math.min(this.topMeets(high, capacity, taper), left);
    this.follow(capacity, taper, along);
    if (along < left) this.hold(high, left - along);
  }

  /**
   * When the available well is full along the taper. The room d = C - q decays, and the top's gap
   * g = high - available has g' = (k' c - k) d - k' g: its zero in closed form.
   * @param {number} high
   * @param {number} capacity
   * @param {number} taper
   */
  topMeets(high, capacity, taper) {
    const steeper = taper - this.perH * this.c;
    const faster = this.faster(taper);
    const gap = Math.max(high - this.available(), 0.0);
    const inside = (gap * faster) / Math.max(steeper * (capacity - this.q), 1e-300);
    return steeper > 0.0 && inside > -1.0 ? Math.log1p(inside) / faster : Infinity;
  }

  /**
   * Charge along the taper.
   * @param {number} capacity
   * @param {number} taper
   * @param {number} hours
   */
  follow(capacity, taper, hours) {
    const room = capacity - this.q;
    const decay = Math.exp(-this.perH * hours);
    const faster = this.faster(taper);
    const fed = (taper * room * decay * Math.expm1(faster * hours)) / faster;
    this.set(capacity - room * Math.exp(-taper * hours), this.w * decay + (1.0 - this.c) * fed);
  }

  /**
   * How much faster the wells level out than the taper closes [1/h], never quite nothing.
   * @param {number} taper
   */
  faster(taper) {
    const faster = this.perH - taper;
    return Math.abs(faster) < 1e-9 ? 1e-9 : faster;
  }
}

/**
 * Both wells, phase by phase; half of the leak before and half behind each segment.
 * @param {Battery} battery
 * @param {Float64Array} capacityWh
 * @param {Course} course
 * @param {Float64Array} storeWh
 * @param {RunsOut} runsOut
 */
function advanceTwoWells(battery, capacityWh, course, storeWh, runsOut) {
  const { hours, rate, coldRow, coldShare, coldColumns } = course;
  const scenarios = capacityWh.length;
  const wells = new Wells(Number(battery.kinetic_c), Number(battery.kinetic_k_per_h));
  const taper = capacityWh.map((capacity) => taperPerH(battery, capacity));
  const imbalance = new Float64Array(scenarios); // the w of each scenario
  const across = coldColumns > 1 ? 1 : 0;
  for (let i = 0, cell = 0; i < hours.length; i++) {
    const half = Math.exp((-battery.self_discharge_per_h * hours[i]) / 2.0);
    const relax = Math.exp(-wells.perH * hours[i]);
    for (let s = 0, cold = coldRow[i] * coldColumns; s < scenarios; s++, cell++, cold += across) {
      wells.set(storeWh[cell] * half, imbalance[s] * half);
      const floor = coldShare[cold] * capacityWh[s];
      const full = charge(wells, rate[cell], capacityWh[s], taper[s], floor, hours[i], relax);
      storeWh[cell + scenarios] = wells.q * half;
      imbalance[s] = wells.w * half;
      if (full < 1.0) runsOut(i, s, full);
    }
  }
}

/**
 * Move both wells through one segment; the share of it over which the whole current was given.
 * relax: how much of an imbalance is left at its end.
 * @param {Wells} wells
 * @param {number} current
 * @param {number} capacity
 * @param {number} taper
 * @param {number} floor
 * @param {number} hours
 * @param {number} relax
 */
function charge(wells, current, capacity, taper, floor, hours, relax) {
  const { c, perH } = wells;
  const available = wells.available();
  const q = wells.q + current * hours;
  const w = wells.w * relax + ((1.0 - c) * current * (1.0 - relax)) / perH;
  const availableEnd = w + c * q;
  if (current < 0.0 && Math.min(available, availableEnd) < floor) {
    wells.runOut(current, floor, hours);
    return wells.served;
  }
  const high = Math.max(available, c * capacity);
  if (current > 0.0 && (q > capacity - current / taper || availableEnd > high)) {
    wells.fill(current, high, capacity, taper, hours);
  } else {
    wells.set(q, w);
  }
  return 1.0;
}
