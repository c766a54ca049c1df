"use strict";

// The stack of states that undo goes back on, and its text.

const MOST_UNDO = 30;

/** @returns {Kept} */
function newHistory() {
  return { state: emptyState(), past: [], turns: 0 };
}

/**
 * The history after an action, or a line that says why it cannot be.
 * @param {Kit} kit
 * @param {Kept} history
 * @param {Action} action
 * @returns {{history: Kept, problem: string | null}}
 */
function afterAction(kit, { state, past, turns }, action) {
  const { state: next, problem } = act(kit, state, action);
  if (problem !== null) return { history: { state, past, turns }, problem };
  const before = [...past, state].slice(-MOST_UNDO);
  return { history: { state: next, past: before, turns: turns + 1 }, problem };
}

/**
 * The history before its last action.
 * @param {Kept} history
 * @returns {Kept}
 */
function undo({ state, past, turns }) {
  if (past.length === 0) return { state, past, turns };
  return { state: past[past.length - 1], past: past.slice(0, -1), turns: turns + 1 };
}

/**
 * A history as text.
 * @param {Kit} kit
 * @param {Kept} history
 */
function dump(kit, { state, past, turns }) {
  const { version, id, title } = kit.data;
  return JSON.stringify({ version, id, title, state, past, turns });
}

/**
 * A history from its text, or a line that says why it is not taken.
 * @param {Kit} kit
 * @param {string} text
 * @returns {{history: Kept | null, problem: string | null}}
 */
function load(kit, text) {
  /** @param {string} problem */
  const refused = (problem) => ({ history: null, problem });
  let kept;
  try {
    kept = JSON.parse(text);
  } catch {
    return refused("what was kept here cannot be read; it is set aside");
  }
  if (!isRecord(kept)) return refused("what was kept here cannot be read; it is set aside");
  if (kept.version !== kit.data.version) {
    return refused("what was kept here belongs to another version of this page; it is set aside");
  }
  if (kept.id !== kit.data.id)
    return refused("what was kept here belongs to another plan; it is set aside");
  const { state, past, turns } = kept;
  const whole = Array.isArray(past) && Number.isInteger(turns);
  if (!whole || ![state, ...past].every((each) => isState(kit, each))) {
    return refused("what was kept here cannot be read; it is set aside");
  }
  return { history: { state, past, turns }, problem: null };
}

/** @param {any} value */
function isRecord(value) {
  return typeof value === "object" && value !== null && !Array.isArray(value);
}

/**
 * Whether a value is a state that this plan can be asked with.
 * @param {Kit} kit
 * @param {any} value
 */
function isState(kit, value) {
  if (!isRecord(value)) return false;
  const { reading, done, shift, dropped, now, added, sky, log } = value;
  const records = [
    done,
    shift,
    now,
    ...(reading ? [reading, reading.done] : []),
    ...(sky ? [sky] : []),
  ];
  if (!records.every(isRecord) || ![dropped, added, log].every(Array.isArray)) return false;
  if (!log.every((/** @type {any} */ entry) => isRecord(entry) && Number.isFinite(entry.atS)))
    return false;
  if (!Object.values(shift).every(Number.isFinite)) return false;
  const [startS, endS] = kit.data.span;
  /** @param {any} one */
  const isInside = (one) => isRecord(one) && one.atS >= startS && one.atS < endS;
  if (!Object.values(now).every((one) => isInside(one) && Number.isInteger(one.day))) return false;
  if (reading && !(isInside(reading) && reading.percent >= 0 && reading.percent <= 100)) return false;
  if (sky && !(Object.keys(kit.data.skies || {}).includes(sky.name) && sky.untilS > sky.fromS))
    return false;
  try {
    return piecesOf(kit, value).length > 0;
  } catch {
    return false;
  }
}
