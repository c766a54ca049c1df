"use strict";

// The stack of states that undo goes back on, and its text.

const MOST_UNDO = 30;

/** @returns {Kept} */
function newHistory() {
  return { state: emptyState(), past: [] };
}

/**
 * The history after an action, or a line that says why it cannot be.
 * @param {Kit} kit
 * @param {Kept} history
 * @param {Action} action
 * @returns {{history: Kept, problem: string | null}}
 */
function afterAction(kit, { state, past }, action) {
  const { state: next, problem } = act(kit, state, action);
  if (problem !== null) return { history: { state, past }, problem };
  return { history: { state: next, past: [...past, state].slice(-MOST_UNDO) }, problem };
}

/**
 * The history before its last action.
 * @param {Kept} history
 * @returns {Kept}
 */
function undo({ state, past }) {
  return past.length ? { state: past[past.length - 1], past: past.slice(0, -1) } : { state, past };
}

/**
 * A history as text.
 * @param {Kit} kit
 * @param {Kept} history
 */
function dump(kit, { state, past }) {
  const { version, id, title } = kit.data;
  return JSON.stringify({ version, id, title, state, past });
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
    return refused("what was kept here cannot be read; it is left alone");
  }
  if (!isRecord(kept)) return refused("what was kept here cannot be read; it is left alone");
  if (kept.version !== kit.data.version) {
    return refused("what was kept here belongs to another version of this page; it is left alone");
  }
  if (kept.id !== kit.data.id)
    return refused("what was kept here belongs to another plan; it is left alone");
  const { state, past } = kept;
  if (!Array.isArray(past) || ![state, ...past].every((each) => isState(kit, each))) {
    return refused("what was kept here cannot be read; it is left alone");
  }
  return { history: { state, past }, problem: null };
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
  const numbers = [...(reading ? [reading.atS, reading.percent] : []), ...Object.values(shift)];
  if (!numbers.every(Number.isFinite)) return false;
  try {
    return piecesOf(kit, value).length > 0;
  } catch {
    return false;
  }
}
