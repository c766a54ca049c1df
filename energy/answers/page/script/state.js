"use strict";

// What was read, done and changed on the page, and the plan that comes of it.
//
// A state is never changed: `act` makes a new one, and undo is a stack of them. Every change is made
// to a task's table (as the plan file has it) and to its figures (as the engine takes them) side by
// side, so that the plan as changed and what is simulated are the same. No document, no clock.

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
 * @typedef {{state: State, past: State[]}} Kept
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

const MOST_UNDO = 30;
const SHIFT_MIN = 15;
const SAME_ENTRY_S = 300; // steps of one task within this are one line of the log
const FURTHEST_FROM_SUN_MIN = 720;
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
    reading: null, done: {}, shift: {}, dropped: [], now: {}, added: [], sky: null, log: [],
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

// The tasks as they now stand.

/**
 * The plan's tasks and the added ones, before any is changed.
 * @param {Kit} kit
 * @param {State} state
 * @returns {Piece[]}
 */
function everyTask(kit, state) {
  const planned = kit.data.tasks.map((task, k) => ({
    table: withName(kit.data.plan.task[k], task.name),
    task,
  }));
  const added = state.added.map((table, k) => ({ table, task: addedTask(kit, table, k) }));
  return [...planned, ...added].map((piece, index) => ({ index, part: "planned", ...piece }));
}

/**
 * A table with the name that its place in the plan gave it: its place may change.
 * @param {Table} table
 * @param {string} name
 */
function withName(table, name) {
  return table.name === undefined && table.tool === undefined ? { name, ...table } : table;
}

/**
 * The tasks as they now stand, in the plan's order; what is done now behind the rest of its task.
 * @param {Kit} kit
 * @param {State} state
 * @returns {Piece[]}
 */
function piecesOf(kit, state) {
  /** @type {Piece[]} */
  const pieces = [];
  for (const piece of everyTask(kit, state)) {
    if (state.dropped.includes(piece.index)) continue;
    const moved = shifted(piece, own(state.shift, piece.index) || 0) || piece;
    const now = own(state.now, piece.index);
    if (now === undefined) {
      pieces.push(moved);
      continue;
    }
    const rest = withoutDay(kit, moved, now.day);
    if (rest) pieces.push(rest);
    pieces.push(atOnce(kit, piece, now));
  }
  const names = new Set(pieces.map(({ task }) => task.name));
  return pieces.map((piece) => withoutLooseEnds(piece, names));
}

/**
 * A task some minutes later; null where that cannot be.
 * @param {Piece} piece
 * @param {number} minutes
 * @returns {Piece | null}
 */
function shifted(piece, minutes) {
  const { table, task } = piece;
  if (minutes === 0) return piece;
  if (task.at) {
    const at = movedMoment(task.at, minutes, true);
    return at && { ...piece, table: { ...table, at: momentText(at) }, task: { ...task, at } };
  }
  if (!task.between) return null;
  const opens = movedMoment(task.between[0], minutes, false);
  const closes = movedMoment(task.between[1], minutes, null);
  if (!opens || !closes || momentText(opens) === momentText(closes)) return null;
  return {
    ...piece,
    table: { ...table, between: [momentText(opens), momentText(closes)] },
    task: { ...task, between: [opens, closes] },
  };
}

/**
 * A moment of the day some minutes later; null where it would be on another day, or too far from
 * the sun's. `midnight`: whether it may be 24:00; null where it is an end, which may wrap.
 * @param {Moment} moment
 * @param {number} minutes
 * @param {boolean | null} midnight
 * @returns {Moment | null}
 */
function movedMoment([anchor, from], minutes, midnight) {
  const to = from + minutes;
  if (anchor !== "clock") return Math.abs(to) <= FURTHEST_FROM_SUN_MIN ? [anchor, to] : null;
  if (midnight === null) return [anchor, to > 1440 ? to - 1440 : to < 0 ? to + 1440 : to];
  return to >= 0 && (to < 1440 || (midnight && to === 1440)) ? [anchor, to] : null;
}

/**
 * A moment as a plan writes it.
 * @param {Moment} moment
 */
function momentText([anchor, minutes]) {
  if (anchor === "clock") return timeOfDay(minutes);
  if (minutes === 0) return anchor;
  return `${anchor}${minutes < 0 ? "-" : "+"}${Number(Math.abs(minutes).toFixed(6))}min`;
}

/**
 * Minutes of the day as a plan writes them, seconds only where there are some.
 * @param {number} minutes
 */
function timeOfDay(minutes) {
  const seconds = Math.round(minutes * 60);
  const parts = [Math.floor(seconds / 3600), Math.floor(seconds / 60) % 60, seconds % 60];
  return parts
    .slice(0, parts[2] ? 3 : 2)
    .map((part) => String(part).padStart(2, "0"))
    .join(":");
}

/**
 * A task without one of the span's days; null where none is left.
 * @param {Kit} kit
 * @param {Piece} piece
 * @param {number} day
 * @returns {Piece | null}
 */
function withoutDay(kit, piece, day) {
  const numbers = (piece.task.days || everyDay(kit)).filter((number) => number !== day);
  if (numbers.length === 0) return null;
  return {
    ...piece,
    table: { ...piece.table, days: numbers },
    task: { ...piece.task, days: numbers },
  };
}

/**
 * The numbers of the span's days.
 * @param {Kit} kit
 */
function everyDay(kit) {
  return Array.from({ length: kit.lastDay - kit.firstDay + 1 }, (_, k) => k + 1);
}

/**
 * A day's share of a task as a task of its own that begins at once.
 * @param {Kit} kit
 * @param {Piece} piece
 * @param {DoneNow} now
 * @returns {Piece}
 */
function atOnce(kit, piece, { atS, day }) {
  const { between: _, ...table } = piece.table;
  const minutes = Math.ceil((toLocal(kit, atS) - (kit.firstDay + day - 1) * DAY_S) / 60);
  /** @type {Moment} */
  const at = ["clock", minutes];
  const task = { ...piece.task, between: null, at, days: [day] };
  const keys = { at: momentText(at), days: [day] };
  if (task.trace !== null && task.times === null && durationS(task) === null) {
    const once = { ...task, times: 1, each_s: traceS(task) }; // a time of the day wants an amount
    return { ...piece, part: "now", table: { ...table, times: 1, ...keys }, task: once };
  }
  return { ...piece, part: "now", table: { ...table, ...keys }, task };
}

/**
 * How long a trace lasts from end to end [s].
 * @param {Task} task
 */
function traceS(task) {
  const points = task.trace || [[0, 0]];
  return points[points.length - 1][0] - points[0][0];
}

/**
 * A task without the keys that name one that is no more.
 * @param {Piece} piece
 * @param {Set<string>} names
 * @returns {Piece}
 */
function withoutLooseEnds(piece, names) {
  let { table, task } = piece;
  for (const key of /** @type {("with" | "after")[]} */ (["with", "after"])) {
    const other = task[key];
    if (other == null || names.has(other)) continue;
    const { [key]: _, ...rest } = table;
    table = rest;
    task = { ...task, [key]: null };
  }
  return { ...piece, table, task };
}

/**
 * A tool that the page carries, with its figures.
 * @param {Kit} kit
 * @param {string} name
 * @returns {Task | undefined}
 */
function toolOf({ data }, name) {
  const unusual = data.tools.find((/** @type {Task} */ { tool }) => tool === name);
  return unusual && { ...data.usual, ...unusual };
}

/**
 * The figures of an added task: those of its tool, with how much and when.
 * @param {Kit} kit
 * @param {Table} table
 * @param {number} spare  number of the random factors it takes
 * @returns {Task}
 */
function addedTask(kit, table, spare) {
  const tool = toolOf(kit, table.tool);
  if (!tool) throw new RangeError(`no tool ${table.tool}`);
  const [hours, minutes] = table.at.split(":").map(Number);
  const times = table.times || null;
  return {
    ...tool,
    name: table.name,
    spare,
    lead_loss: 0,
    times,
    charges: table.charges || null,
    minutes: table.minutes || null,
    hours: null,
    each_s: table.each_s || (times !== null && tool.kind === "trace" ? traceS(tool) : null),
    pause_s: null,
    between: null,
    at: ["clock", 60 * hours + minutes],
    days: table.days,
  };
}

/**
 * What the engine is asked: the tasks as they now stand, from the last reading on.
 * @param {Kit} kit
 * @param {State} state
 * @returns {Asked}
 */
function askedOf(kit, state) {
  const tasks = piecesOf(kit, state).map(({ task }) => task);
  const { reading } = state;
  const names = new Set(tasks.map(({ name }) => name));
  /** @type {{[name: string]: number}} */
  const done = Object.create(null);
  for (const [name, amount] of Object.entries(reading ? reading.done : {})) {
    if (names.has(name)) done[name] = amount === "all" ? Infinity : amount;
  }
  return {
    tasks,
    nowS: reading && reading.atS,
    percent: reading && reading.percent,
    done,
    sky: state.sky,
  };
}

/**
 * The plan's tables as changed on the page.
 * @param {Kit} kit
 * @param {State} state
 * @returns {Table}
 */
function tablesOf(kit, state) {
  const pieces = piecesOf(kit, state);
  const names = new Set(pieces.map(({ task }) => task.name));
  const { run, ...plan } = kit.data.plan;
  /** @param {any} end */
  const leads = (end) =>
    typeof end !== "string" || !end.startsWith("task:") || names.has(end.slice("task:".length));
  const runs = (run || []).filter((/** @type {Table} */ lead) => leads(lead.from) && leads(lead.to));
  return {
    ...plan,
    task: pieces.map(({ table }) => table),
    ...(runs.length ? { run: runs } : {}),
  };
}

/**
 * Whether anything of the plan itself was changed.
 * @param {State} state
 */
function isChanged(state) {
  const records = [state.shift, state.now];
  return state.dropped.length + state.added.length > 0 || records.some((r) => Object.keys(r).length);
}

// What the tasks of a name hold.

/**
 * The unit in which the tasks of a name are stated; null where they have several.
 * @param {Piece[]} pieces
 * @param {string} name
 */
function unitOfName(pieces, name) {
  const units = new Set(pieces.filter(({ task }) => task.name === name).map((p) => unitOf(p.task)));
  return units.size === 1 ? [...units][0] : null;
}

/**
 * How much the tasks of a name hold inside the span, and how much of that is planned to be over by
 * a moment; whole for what is counted, in whole minutes or hundredths of an hour else.
 * @param {Kit} kit
 * @param {Piece[]} pieces
 * @param {string} name
 * @param {number} atS
 */
function plannedOf(kit, pieces, name, atS) {
  const [startS, endS] = kit.data.span;
  let planned = 0;
  let over = 0;
  for (const { task } of pieces.filter((piece) => piece.task.name === name)) {
    const counted = repeatsOf(task) !== null;
    const unitS = unitOf(task) === "hours" ? 3600 : 60;
    const digits = unitOf(task) === "hours" ? 100 : 1;
    let overS = 0;
    for (const [fromS, toS] of daysOfTask(kit, task).flatMap(({ intervals }) => intervals)) {
      const inside = [Math.max(fromS, startS), Math.min(toS, endS)];
      if (inside[1] <= inside[0]) continue;
      planned += counted ? 1 : (inside[1] - inside[0]) / unitS;
      if (counted) over += toS <= atS ? 1 : 0;
      else overS += Math.max(Math.min(inside[1], atS) - inside[0], 0);
    }
    over += Math.floor((overS / unitS) * digits + 1e-6) / digits;
  }
  return { planned: Math.round(planned * 100) / 100, over };
}

// Actions.

/**
 * The state after an action, or a line that says why it cannot be.
 * @param {Kit} kit
 * @param {State} state
 * @param {Action} action
 * @returns {{state: State, problem: string | null}}
 */
function act(kit, state, action) {
  const result = changed(kit, state, action);
  return typeof result === "string"
    ? { state, problem: result }
    : { state: result, problem: null };
}

/**
 * @param {Kit} kit
 * @param {State} state
 * @param {Action} action
 * @returns {State | string}
 */
function changed(kit, state, action) {
  switch (action.kind) {
    case "read": return afterReading(kit, state, action);
    case "done": return afterStep(kit, state, action);
    case "shift": return afterShift(kit, state, action);
    case "drop": return afterDrop(kit, state, action);
    case "restore": return afterRestore(kit, state, action);
    case "now": return afterNow(kit, state, action);
    case "as planned": return afterAsPlanned(kit, state, action);
    case "add": return afterAdding(kit, state, action);
    case "sky": return afterSky(kit, state, action);
    case "start again": return emptyState();
    default: return "there is no such action";
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
    return `the plan runs from ${shortClock(kit, startS)} to ${shortClock(kit, endS)}: ` +
      "set the time of the reading inside it";
  }
  if (!Number.isFinite(percent) || percent < 0 || percent > 100) return "enter the percent that the battery reads, 0 to 100";
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
  const goesOn = last && last.kind === "done" && last.task === name &&
    Math.abs(atS - last.atS) <= SAME_ENTRY_S;
  const log = goesOn ? state.log.slice(0, -1) : state.log;
  return logged(
    { ...state, done: withKey(state.done, name, amount), log },
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
  return state.dropped.includes(index) ? `"${piece.task.name}" is left out: bring it back first` : piece;
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
  if (!piece.task.at && !piece.task.between) return `"${name}" runs all day: there is nothing to move`;
  const by = (own(state.shift, index) || 0) + minutes;
  const moved = shifted(piece, by);
  if (!moved) return `"${name}" would begin on another day: that cannot be`;
  const [problem] = daysOf(kit, [moved.task]).problems;
  if (problem) return `"${name}": ${problem.text}`;
  return logged(
    { ...state, shift: withKey(state.shift, index, by || null) },
    { kind: "shift", atS, task: name, minutes: by },
  );
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
  if (!isCounted(piece.task)) return `"${name}" has no amount, only its hours: it cannot be done now`;
  if (!(atS >= reading.atS && atS < kit.data.span[1])) return "set the time to after the last reading";
  const day = dayOf(kit, atS) - kit.firstDay + 1;
  if (piece.task.days && !piece.task.days.includes(day)) return `nothing of "${name}" is planned today`;
  const pieces = piecesOf(kit, state);
  const stated = own(reading.done, name);
  const amount = stated === undefined ? plannedOf(kit, pieces, name, reading.atS).over : stated;
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
    return `${WORD_OF_AMOUNT[key]} must be ${counted ? "a whole number " : ""}` +
      `from ${least} to ${most}`;
  }
  if (!(minute >= 0 && minute < 1440)) return "enter the time at which it begins, such as 13:30";
  const day = Math.min(Math.max(dayOf(kit, atS), kit.firstDay), kit.lastDay) - kit.firstDay + 1;
  const name = freeName(everyTask(kit, state).map(({ task }) => task.name), figures.name);
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

// The stack of states, and its text.

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
  if (kept.id !== kit.data.id) return refused("what was kept here belongs to another plan; it is left alone");
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
  const records = [done, shift, now, ...(reading ? [reading, reading.done] : []), ...(sky ? [sky] : [])];
  if (!records.every(isRecord) || ![dropped, added, log].every(Array.isArray)) return false;
  if (!log.every((/** @type {any} */ entry) => isRecord(entry) && Number.isFinite(entry.atS))) return false;
  const numbers = [...(reading ? [reading.atS, reading.percent] : []), ...Object.values(shift)];
  if (!numbers.every(Number.isFinite)) return false;
  try {
    return piecesOf(kit, value).length > 0;
  } catch {
    return false;
  }
}
