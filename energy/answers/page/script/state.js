"use strict";

// What was read, done and changed on the page. A state is never changed: `act` makes a new one. What
// it makes of the tasks is worked out in changed_tasks.js.

/**
 * @typedef {{[key: string]: any}} Table  a table of the plan file
 * @typedef {number | "all"} Amount  in the task's unit, since the plan's start
 * @typedef {{[name: string]: Amount}} Done
 * @typedef {{atS: number, percent: number, solarW: number | null, loadW: number | null,
 *   sky: string | null, done: Done}} Reading
 * @typedef {{atS: number, day: number}} DoneNow  day: number of the span's day from 1
 * @typedef {{name: string, fromS: number, untilS: number}} SkyChoice
 * @typedef {{atS: number, kind: string, task?: string, amount?: Amount | null, percent?: number,
 *   solarW?: number | null, loadW?: number | null, sky?: string | null, minutes?: number,
 *   expected?: number | null}} Entry
 * @typedef {{reading: Reading | null, done: Done, shift: {[task: string]: number},
 *   dropped: number[], now: {[task: string]: DoneNow}, added: Table[], sky: SkyChoice | null,
 *   log: Entry[]}} State
 * turns: how many actions and undos led here: the more, the newer.
 * @typedef {{state: State, past: State[], turns: number}} Kept
 * @typedef {{index: number, part: "planned" | "now", table: Table, task: Task}} Piece
 *
 * @typedef {{kind: "read", atS: number, percent: number, solarW?: number | null,
 *   loadW?: number | null, sky?: string | null, expected?: number | null}
 *   | {kind: "done", atS: number, name: string, amount: Amount | null}
 *   | {kind: "shift", atS: number, task: number, minutes: number}
 *   | {kind: "drop" | "restore" | "now" | "as planned", atS: number, task: number}
 *   | {kind: "add", atS: number, tool: string, amount: {[key: string]: number}, minute: number}
 *   | {kind: "sky", atS: number, name: string | null}
 *   | {kind: "start again", atS: number}} Action
 */

const SHIFT_MIN = 15;
const SAME_ENTRY_S = 300; // steps of one task within this are one line of the log
/**
 * What an added task may hold: least, most and whether it is counted.
 * @type {{[key: string]: [number, number, boolean]}}
 */
const ADDED_AMOUNTS = {
  times: [1, 1000, true],
  charges: [1, 100, true],
  minutes: [0.1, 1440, false],
  each_s: [1, 86400, false],
};

/** @returns {State} */
function emptyState() {
  return {
    reading: null,
    done: {},
    shift: {},
    dropped: [],
    now: {},
    added: [],
    sky: null,
    log: [],
  };
}

/**
 * A record with one key set, or taken out where the value is null. It inherits nothing, so that a
 * task may be called "constructor".
 * @template V
 * @param {{[key: string]: V}} record
 * @param {string | number} key
 * @param {V | null} value
 * @returns {{[key: string]: V}}
 */
function withKey(record, key, value) {
  const copy = Object.assign(Object.create(null), record);
  if (value === null) delete copy[key];
  else copy[key] = value;
  return copy;
}

/**
 * What a record holds under a key of its own.
 * @template V
 * @param {{[key: string]: V}} record
 * @param {string | number} key
 * @returns {V | undefined}
 */
function own(record, key) {
  return Object.prototype.hasOwnProperty.call(record, key) ? record[key] : undefined;
}

/**
 * The state after an action, or a line that says why it cannot be.
 * @param {Kit} kit
 * @param {State} state
 * @param {Action} action
 * @returns {{state: State, problem: string | null}}
 */
function act(kit, state, action) {
  const result = changed(kit, state, action);
  return typeof result === "string" ? { state, problem: result } : { state: result, problem: null };
}

/**
 * @param {Kit} kit
 * @param {State} state
 * @param {Action} action
 * @returns {State | string}
 */
function changed(kit, state, action) {
  switch (action.kind) {
    case "read":
      return afterReading(kit, state, action);
    case "done":
      return afterStep(kit, state, action);
    case "shift":
      return afterShift(kit, state, action);
    case "drop":
      return afterDrop(kit, state, action);
    case "restore":
      return afterRestore(kit, state, action);
    case "now":
      return afterNow(kit, state, action);
    case "as planned":
      return afterAsPlanned(kit, state, action);
    case "add":
      return afterAdding(kit, state, action);
    case "sky":
      return afterSky(kit, state, action);
    case "start again":
      return emptyState();
    default:
      return "there is no such action";
  }
}

/**
 * A state with one more line in its log.
 * @param {State} state
 * @param {Entry} entry
 * @returns {State}
 */
function logged(state, entry) {
  return { ...state, log: [...state.log, entry] };
}

/**
 * @param {Kit} kit
 * @param {State} state
 * @param {Extract<Action, {kind: "read"}>} action
 * @returns {State | string}
 */
function afterReading(kit, state, action) {
  const { atS, percent, solarW = null, loadW = null, sky = null, expected = null } = action;
  const [startS, endS] = kit.data.span;
  if (!(atS >= startS && atS < endS)) {
    return (
      `the plan runs from ${shortClock(kit, startS)} to ${shortClock(kit, endS)}: ` +
      "set the time of the reading inside it"
    );
  }
  if (!Number.isFinite(percent) || percent < 0 || percent > 100)
    return "enter the percent that the battery reads, 0 to 100";
  if (state.reading && atS < state.reading.atS) {
    return `there is a later reading, from ${shortClock(kit, state.reading.atS)}: undo that first`;
  }
  const reading = { atS, percent, solarW, loadW, sky };
  return logged(
    { ...state, reading: { ...reading, done: state.done } },
    { kind: "read", ...reading, expected },
  );
}

/**
 * @param {Kit} kit
 * @param {State} state
 * @param {Extract<Action, {kind: "done"}>} action
 * @returns {State | string}
 */
function afterStep(kit, state, { atS, name, amount }) {
  const pieces = piecesOf(kit, state);
  if (!pieces.some(({ task }) => task.name === name)) return `there is no task "${name}"`;
  const unit = unitOfName(pieces, name);
  if (typeof amount === "number") {
    if (!(amount >= 0 && amount <= 1e6)) return "enter how much is done: 0 or more";
    if (unit === null && amount > 0) return `"${name}" is stated in several units: say all or none`;
    if ((unit === "times" || unit === "charges") && amount % 1) return "enter a whole number";
  } else if (amount === null && pieces.some((p) => p.part === "now" && p.task.name === name)) {
    return `"${name}" is done at another time than planned: say how much of it is done`;
  }
  const last = state.log[state.log.length - 1];
  const goesOn =
    last && last.kind === "done" && last.task === name && Math.abs(atS - last.atS) <= SAME_ENTRY_S;
  const log = goesOn ? state.log.slice(0, -1) : state.log;
  const { reading } = state;
  const done = withKey(state.done, name, amount);
  const counts = reading && Math.abs(atS - reading.atS) <= SAME_ENTRY_S; // said with the reading
  return logged(
    {
      ...state,
      done,
      reading: counts ? { ...reading, done: withKey(reading.done, name, amount) } : reading,
      log,
    },
    { kind: "done", atS, task: name, amount },
  );
}

/**
 * The task of an index as it stands in the plan, or a line where there is none.
 * @param {Kit} kit
 * @param {State} state
 * @param {number} index
 * @returns {Piece | string}
 */
function taskAt(kit, state, index) {
  const piece = everyTask(kit, state)[index];
  if (!piece) return "there is no such task";
  return state.dropped.includes(index)
    ? `"${piece.task.name}" is left out: bring it back first`
    : piece;
}

/**
 * @param {Kit} kit
 * @param {State} state
 * @param {Extract<Action, {kind: "shift"}>} action
 * @returns {State | string}
 */
function afterShift(kit, state, { atS, task: index, minutes }) {
  const piece = taskAt(kit, state, index);
  if (typeof piece === "string") return piece;
  const { name } = piece.task;
  if (!piece.task.at && !piece.task.between)
    return `"${name}" runs all day: there is nothing to move`;
  const by = (own(state.shift, index) || 0) + minutes;
  const moved = shifted(piece, by);
  if (!moved) return `"${name}" would begin on another day: that cannot be`;
  const [problem] = daysOf(kit, [moved.task]).problems;
  if (problem) return `"${name}": ${problem.text}`;
  return logged(
    { ...asDone(kit, state, name), shift: withKey(state.shift, index, by || null) },
    { kind: "shift", atS, task: name, minutes: by },
  );
}

/**
 * The state in which what the clock takes as done of a name by the last reading is stated: moving
 * what is left moves nothing of it.
 * @param {Kit} kit
 * @param {State} state
 * @param {string} name
 * @returns {State}
 */
function asDone(kit, state, name) {
  const { reading, done } = state;
  if (!reading || own(reading.done, name) !== undefined) return state;
  const pieces = piecesOf(kit, state);
  const refused = turnedAwayOf(kit, askedOf(kit, state).tasks);
  const { byClock } = plannedOf(kit, pieces, name, reading.atS, refused);
  return {
    ...state,
    done: own(done, name) === undefined ? { ...done, [name]: byClock } : done,
    reading: { ...reading, done: { ...reading.done, [name]: byClock } },
  };
}

/**
 * @param {Kit} kit
 * @param {State} state
 * @param {{atS: number, task: number}} action
 * @returns {State | string}
 */
function afterDrop(kit, state, { atS, task: index }) {
  const piece = taskAt(kit, state, index);
  if (typeof piece === "string") return piece;
  if (everyTask(kit, state).length - state.dropped.length < 2) {
    return "a plan needs one task at least: this one stays";
  }
  return logged(
    { ...state, dropped: [...state.dropped, index] },
    { kind: "drop", atS, task: piece.task.name },
  );
}

/**
 * @param {Kit} kit
 * @param {State} state
 * @param {{atS: number, task: number}} action
 * @returns {State | string}
 */
function afterRestore(kit, state, { atS, task: index }) {
  if (!state.dropped.includes(index)) return "that task is in the plan";
  return logged(
    { ...state, dropped: state.dropped.filter((other) => other !== index) },
    { kind: "restore", atS, task: everyTask(kit, state)[index].task.name },
  );
}

/**
 * @param {Kit} kit
 * @param {State} state
 * @param {{atS: number, task: number}} action
 * @returns {State | string}
 */
function afterNow(kit, state, { atS, task: index }) {
  const piece = taskAt(kit, state, index);
  if (typeof piece === "string") return piece;
  const { reading } = state;
  const { name } = piece.task;
  if (!reading) return "enter first what the battery reads now";
  if (!isCounted(piece.task))
    return `"${name}" has no amount, only its hours: it cannot be done now`;
  if (!(atS >= reading.atS && atS < kit.data.span[1]))
    return "set the time to after the last reading";
  const day = dayOf(kit, atS) - kit.firstDay + 1;
  if (piece.task.days && !piece.task.days.includes(day))
    return `nothing of "${name}" is planned today`;
  const pieces = piecesOf(kit, state);
  const stated = own(reading.done, name);
  const amount = stated === undefined ? doneUnsaid(kit, pieces, name, reading.atS) : stated;
  if (unitOfName(pieces, name) === null && amount !== "all" && amount > 0) {
    return `"${name}" is stated in several units: say first that none or all of it is done`;
  }
  const done = own(state.done, name) === undefined ? withKey(state.done, name, amount) : state.done;
  return logged(
    {
      ...state,
      done,
      reading: { ...reading, done: withKey(reading.done, name, amount) },
      now: withKey(state.now, index, { atS, day }),
    },
    { kind: "now", atS, task: name },
  );
}

/**
 * How much of a name counts as done where nobody said: as planned by then, but of what is planned
 * to be over and is wanted now only what earlier days held.
 * @param {Kit} kit
 * @param {Piece[]} pieces
 * @param {string} name
 * @param {number} atS
 */
function doneUnsaid(kit, pieces, name, atS) {
  const tasks = pieces.map(({ task }) => task);
  const refused = turnedAwayOf(kit, tasks);
  /** @param {number} timeS */
  const doneBy = (timeS) => plannedOf(kit, pieces, name, timeS, refused).byClock;
  /** @param {number} minutes */
  const today = (minutes) => momentOn(kit, ["clock", minutes], dayOf(kit, atS));
  return doneBy(atS) < doneBy(today(1440)) ? doneBy(atS) : doneBy(today(0));
}

/**
 * Whether it is said how much of a task there is in a window.
 * @param {Task} task
 */
function isCounted(task) {
  return repeatsOf(task) !== null || durationS(task) !== null;
}

/**
 * @param {Kit} kit
 * @param {State} state
 * @param {{atS: number, task: number}} action
 * @returns {State | string}
 */
function afterAsPlanned(kit, state, { atS, task: index }) {
  const piece = taskAt(kit, state, index);
  if (typeof piece === "string") return piece;
  return logged(
    { ...state, shift: withKey(state.shift, index, null), now: withKey(state.now, index, null) },
    { kind: "as planned", atS, task: piece.task.name },
  );
}

/**
 * @param {Kit} kit
 * @param {State} state
 * @param {Extract<Action, {kind: "add"}>} action
 * @returns {State | string}
 */
function afterAdding(kit, state, { atS, tool, amount, minute }) {
  if (state.added.length >= roomForMore(kit)) return "the page has no room for more tasks";
  const figures = toolOf(kit, tool);
  if (!figures) return `there is no tool "${tool}" on this page`;
  for (const [key, value] of Object.entries(amount)) {
    const [least, most, counted] = ADDED_AMOUNTS[key];
    if (value >= least && value <= most && !(counted && value % 1)) continue;
    return (
      `${WORD_OF_AMOUNT[key]} must be ${counted ? "a whole number " : ""}` +
      `from ${least} to ${most}`
    );
  }
  if (!(minute >= 0 && minute < 1440)) return "enter the time at which it begins, such as 13:30";
  const day = Math.min(Math.max(dayOf(kit, atS), kit.firstDay), kit.lastDay) - kit.firstDay + 1;
  const beginsS = toUtc(kit, (kit.firstDay + day - 1) * DAY_S + minute * 60);
  if (beginsS < Math.floor(atS / 60) * 60) {
    return `${timeOfDay(minute)} is over: enter a time from ${clockFace(kit, atS)} on`;
  }
  const name = freeName(
    everyTask(kit, state).map(({ task }) => task.name),
    figures.name,
  );
  const table = { tool, name, ...amount, at: timeOfDay(minute), days: [day] };
  return logged({ ...state, added: [...state.added, table] }, { kind: "add", atS, task: name });
}

/**
 * How many tasks may be added: each takes random factors of its own, and so does the next one.
 * @param {Kit} kit
 */
function roomForMore({ data }) {
  return Math.max((data.spare || []).length - 1, 0);
}

/** @type {{[key: string]: string}} */
const WORD_OF_AMOUNT = {
  times: "how many times",
  charges: "how many charges",
  minutes: "the minutes",
  each_s: "the seconds each",
};

/**
 * A name that no task has.
 * @param {string[]} taken
 * @param {string} name
 */
function freeName(taken, name) {
  let free = name;
  for (let k = 2; taken.includes(free); k++) free = `${name} ${k}`;
  return free;
}

/**
 * @param {Kit} kit
 * @param {State} state
 * @param {Extract<Action, {kind: "sky"}>} action
 * @returns {State | string}
 */
function afterSky(kit, state, { atS, name }) {
  if (name !== null && !own(kit.data.skies || {}, name)) return "that sky is not known here";
  const untilS = momentOn(kit, ["clock", 1440], dayOf(kit, atS));
  const sky = name === null ? null : { name, fromS: atS, untilS };
  return logged({ ...state, sky }, { kind: "sky", atS, sky: name });
}
