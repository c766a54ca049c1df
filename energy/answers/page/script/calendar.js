"use strict";

// When things happen: local clock to UTC, windows of a day, bursts inside a window, the time grid.
//
// A moment of a day is ["clock" | "sunrise" | "sunset", minutes]; a window is a pair of moments, or
// null for all day. Times are UTC seconds since 1970, snapped to milliseconds; a date is its number
// of days since 1970-01-01 (Thursday).

/**
 * @typedef {"clock" | "sunrise" | "sunset"} Anchor
 * @typedef {[Anchor, number]} Moment  minutes after the anchor
 * @typedef {[Moment, Moment] | null} Between  null: all day
 * @typedef {[number, number]} Interval  from, to [UTC s]
 */

const GRID_S = 300;
const DAY_S = 86400;
const NOON_MIN = 720;
const SAME_S = 0.01; // bursts that fill a window may meet by a rounding
/** @type {[Moment, Moment]} */
const ALL_DAY = [["clock", 0], ["clock", 1440]];
const WEEKDAYS = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];
const MONTHS = [
  "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
];

/**
 * Round to a millisecond, halves to the even one.
 * @param {number} timeS
 */
function snap(timeS) {
  const milliseconds = timeS * 1000;
  const below = Math.floor(milliseconds);
  const rest = milliseconds - below;
  const up = rest > 0.5 || (rest === 0.5 && below % 2 !== 0);
  return (up ? below + 1 : below) / 1000;
}

/**
 * A number as briefly as six digits allow, halves to the even digit.
 * @param {number} value
 */
function brief(value) {
  const exact = value.toExponential(40);
  const isHalf = /\.\d{4}[02468]50*e/.test(exact);
  const rounded = isHalf ? exact.replace(/50*e/, "e") : value.toExponential(5);
  const [digits, power] = rounded.split("e");
  if (Number(power) >= -4 && Number(power) < 6) return String(Number(rounded));
  return `${Number(digits)}e${power[0]}${power.slice(1).padStart(2, "0")}`;
}

/**
 * Index of the first edge at or after a time; edges ascend.
 * @param {Float64Array} edges
 * @param {number} timeS
 */
function edgeAt(edges, timeS) {
  let low = 0;
  let high = edges.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (edges[middle] < timeS) low = middle + 1;
    else high = middle;
  }
  return low;
}

/**
 * UTC seconds of a local time [s since 1970 on the local clock]. One that the clock skips moves
 * forward by the gap, one that occurs twice is the first (the reading of RFC 5545).
 * @param {Kit} kit
 * @param {number} localS
 */
function toUtc(kit, localS) {
  const offsets = kit.data.zone.offsets;
  let offsetS = offsets[0][1];
  for (let k = 1; k < offsets.length; k++) {
    const changesS = offsets[k][0] + Math.max(offsets[k - 1][1], offsets[k][1]);
    if (localS >= changesS) offsetS = offsets[k][1];
  }
  return localS - offsetS;
}

/**
 * The local clock's seconds since 1970 at a moment.
 * @param {Kit} kit
 * @param {number} timeS
 */
function toLocal(kit, timeS) {
  const offsets = kit.data.zone.offsets;
  let offsetS = offsets[0][1];
  for (let k = 1; k < offsets.length; k++) {
    if (timeS >= offsets[k][0]) offsetS = offsets[k][1];
  }
  return timeS + offsetS;
}

/**
 * The local date of a moment.
 * @param {Kit} kit
 * @param {number} timeS
 */
function dayOf(kit, timeS) {
  return Math.floor(toLocal(kit, timeS) / DAY_S);
}

/**
 * A date in ISO form.
 * @param {number} day
 */
function dateText(day) {
  return new Date(day * DAY_S * 1000).toISOString().slice(0, 10);
}

/**
 * The number of a date in ISO form.
 * @param {string} date
 */
function dayNumber(date) {
  return Date.parse(`${date}T00:00:00Z`) / 1000 / DAY_S;
}

/**
 * A moment on the local clock: weekday and month in three letters, date in ISO form.
 * @param {Kit} kit
 * @param {number} timeS
 */
function localFields(kit, timeS) {
  const localS = Math.floor(toLocal(kit, timeS));
  const at = new Date(localS * 1000);
  return {
    weekday: WEEKDAYS[(at.getUTCDay() + 6) % 7],
    day: at.getUTCDate(),
    month: MONTHS[at.getUTCMonth()],
    year: at.getUTCFullYear(),
    hour: at.getUTCHours(),
    minute: at.getUTCMinutes(),
    second: at.getUTCSeconds(),
    date: dateText(Math.floor(localS / DAY_S)),
  };
}

/**
 * UTC seconds of a moment on a date; minute 1440 is the next day's midnight.
 * @param {Kit} kit
 * @param {Moment} moment
 * @param {number} day
 */
function momentOn(kit, [anchor, minutes], day) {
  if (anchor === "clock") return snap(toUtc(kit, snap(day * DAY_S + minutes * 60)));
  const [rise, fall] = kit.data.dates.sun[day - kit.firstDay + 1];
  return snap((anchor === "sunset" ? fall : rise) + 60 * minutes);
}

/**
 * Dates on which windows start: day numbers of the span from 1, or every date. Without numbers the
 * evening before the span counts too: its windows may reach into it.
 * @param {Kit} kit
 * @param {number[] | null} [numbers]
 */
function days(kit, numbers) {
  if (numbers) return numbers.map((number) => kit.firstDay + number - 1);
  const count = kit.lastDay - kit.firstDay + 2;
  return Array.from({ length: count }, (_, k) => kit.firstDay - 1 + k);
}

/**
 * The window that starts on a date, or null where it is empty.
 *
 * An end at or before the start wraps past midnight, but sunrise to sunset never does, and sunset
 * to sunrise always runs to the next day's sunrise. Neither does a window from sunset to a time of
 * the same evening, nor one from a morning's time to sunrise.
 * @param {Kit} kit
 * @param {Between} between
 * @param {number} day
 * @returns {Interval | null}
 */
function windowOn(kit, between, day) {
  const [opens, closes] = between || ALL_DAY;
  const start = momentOn(kit, opens, day);
  let end = momentOn(kit, closes, day);
  const anchors = `${opens[0]} ${closes[0]}`;
  const sameDay =
    anchors === "sunrise sunset" ||
    (anchors === "sunset clock" && closes[1] >= NOON_MIN) ||
    (anchors === "clock sunrise" && opens[1] < NOON_MIN);
  const wraps =
    anchors === "clock clock" // by the clock's face, also where it skips an hour
      ? closes[1] <= opens[1]
      : (end <= start && !sameDay) || anchors === "sunset sunrise";
  if (wraps) end = momentOn(kit, closes, day + 1);
  return end > start ? [start, end] : null;
}

/**
 * Every window of the span, in order.
 * @param {Kit} kit
 * @param {Between} between
 * @param {number[] | null} [numbers]  days of the span from 1
 */
function windows(kit, between, numbers) {
  /** @type {Interval[]} */
  const open = [];
  for (const day of days(kit, numbers)) {
    const window = windowOn(kit, between, day);
    if (window) open.push(window);
  }
  return open;
}

/**
 * N bursts, each in the middle of its equal share of the window. Throws a RangeError where they do
 * not fit one after another.
 * @param {Interval} window
 * @param {number} times
 * @param {number} eachS
 * @returns {Interval[]}
 */
function equalShares([startS, endS], times, eachS) {
  const share = (endS - startS) / times;
  if (eachS > share + 1e-6) {
    throw new RangeError(
      `${times} times of ${brief(eachS)} s do not fit into the window of ${brief(endS - startS)} s`,
    );
  }
  return Array.from({ length: times }, (_, k) => {
    const firstS = snap(startS + (k + 0.5) * share - eachS / 2);
    return [firstS, snap(firstS + eachS)];
  });
}

/**
 * N bursts from a moment on, each beginning `paceS` after the one before.
 * @param {number} startS
 * @param {number} times
 * @param {number} eachS
 * @param {number} paceS
 * @returns {Interval[]}
 */
function oneAfterAnother(startS, times, eachS, paceS) {
  return Array.from({ length: times }, (_, k) => {
    const firstS = snap(startS + k * paceS);
    return [firstS, snap(firstS + eachS)];
  });
}

/**
 * The bursts of one thing, window by window: what begins anew ends what is left of before.
 * @param {Interval[][]} placed
 */
function oneAtATime(placed) {
  const kept = placed.slice();
  const order = placed
    .map((intervals, k) => ({ intervals, k }))
    .filter(({ intervals }) => intervals.length > 0)
    .sort((a, b) => firstOf(a.intervals) - firstOf(b.intervals) ||
      lastOf(a.intervals) - lastOf(b.intervals) || a.k - b.k);
  for (let i = 0; i + 1 < order.length; i++) {
    const { intervals, k } = order[i];
    const anew = firstOf(order[i + 1].intervals);
    if (lastOf(intervals) <= anew + SAME_S) continue;
    kept[k] = intervals
      .filter(([startS]) => startS < anew)
      .map(([startS, endS]) => [startS, Math.min(endS, anew)]);
  }
  return kept;
}

/** @param {Interval[]} intervals  not empty */
function firstOf(intervals) {
  return intervals[0][0];
}

/** @param {Interval[]} intervals  not empty */
function lastOf(intervals) {
  return intervals[intervals.length - 1][1];
}

/**
 * Edges of the segments of a span: its ends, the regular grid, and all marks inside it.
 * @param {Interval} span
 * @param {number[]} marks
 * @param {number} everyS
 */
function grid([startS, endS], marks, everyS = GRID_S) {
  const inside = marks.filter((mark) => mark > startS && mark < endS);
  for (let timeS = Math.ceil(startS / everyS) * everyS; timeS < endS; timeS += everyS) {
    inside.push(timeS);
  }
  inside.push(startS, endS);
  const edges = new Float64Array(inside).sort();
  return edges.filter((edge, k) => k === 0 || edge > edges[k - 1]);
}

/**
 * For each segment between `edges` the coarser cell between `cells` that holds it.
 * @param {Float64Array} edges
 * @param {Float64Array} cells
 */
function cellOf(edges, cells) {
  const cell = new Int32Array(edges.length - 1);
  let k = edgeAt(cells, edges[0]);
  for (let row = 0; row < cell.length; row++) {
    while (k < cells.length && cells[k] <= edges[row]) k++;
    cell[row] = k - 1;
  }
  return cell;
}
