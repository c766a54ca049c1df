"use strict";

// The tasks as they now stand, and the plan that comes of it.
//
// Every change is made to a task's table (as the plan file has it) and to its figures (as the
// engine takes them) side by side, so that the plan as changed and what is simulated are the same.

const FURTHEST_FROM_SUN_MIN = 720;

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
    sky: state.sky && reading && state.sky.untilS <= reading.atS ? null : state.sky,
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
  const runs = (run || []).filter(
    (/** @type {Table} */ lead) => leads(lead.from) && leads(lead.to),
  );
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
  return (
    state.dropped.length + state.added.length > 0 || records.some((r) => Object.keys(r).length)
  );
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
 * How much the tasks of a name hold inside the span, and how much of that the clock takes as done
 * by a moment: what is planned to be over and no limit turned away; whole for what is counted, in
 * whole minutes or hundredths of an hour else.
 * @param {Kit} kit
 * @param {Piece[]} pieces
 * @param {string} name
 * @param {number} atS
 * @param {Burst[]} refused  as `turnedAwayOf` the pieces
 */
function plannedOf(kit, pieces, name, atS, refused) {
  const [startS, endS] = kit.data.span;
  let planned = 0;
  let byClock = 0;
  for (const [k, { task }] of pieces.entries()) {
    if (task.name !== name) continue;
    const never = refused.filter((burst) => burst.task === k);
    const counted = repeatsOf(task) !== null;
    const unitS = unitOf(task) === "hours" ? 3600 : 60;
    const digits = unitOf(task) === "hours" ? 100 : 1;
    let planS = 0;
    let ranS = 0;
    for (const [fromS, toS] of daysOfTask(kit, task).flatMap(({ intervals }) => intervals)) {
      /** @type {Interval} */
      const inside = [Math.max(fromS, startS), Math.min(toS, endS)];
      if (inside[1] <= inside[0]) continue;
      if (counted) planned += 1;
      else planS += inside[1] - inside[0];
      /** @type {Interval} */
      const past = [inside[0], Math.min(inside[1], atS)];
      const lostS = never.reduce((s, burst) => s + overlapS(past, [burst.startS, burst.endS]), 0);
      if (counted) byClock += toS <= atS && lostS === 0 ? 1 : 0;
      else ranS += Math.max(past[1] - past[0], 0) - lostS;
    }
    planned += Math.floor((planS / unitS) * digits + 1e-6) / digits;
    byClock += Math.floor((ranS / unitS) * digits + 1e-6) / digits;
  }
  return { planned, byClock };
}
