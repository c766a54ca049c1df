"use strict";

// What leaves the page: the readings as a table, the plan as a file; and what is typed into it.

const COLUMNS = ["time", "battery_percent", "solar_w", "load_w", "tool", "count", "sky"];
const MOST_W = 100000;

// What is typed.

/**
 * A percentage from 45, 45 % or 45,5; else a line that says what to enter.
 * @param {string} text
 * @returns {{value: number | null, problem: string | null}}
 */
function parsePercent(text) {
  const bare = text.trim().replace(/\s*%$/, "");
  const value = numberIn(bare);
  if (value === null) return refusal("enter the percent that the display shows, such as 45");
  if (value > 0 && value < 1 && bare === text.trim()) {
    return refusal(`enter percent: did you mean ${brief(100 * value)}?`);
  }
  if (value < 0 || value > 100) return refusal("enter a percent from 0 to 100");
  return { value, problem: null };
}

/**
 * Watts from 120, 120 W or 1,5 kW, null where nothing was entered; else a line.
 * @param {string} text
 * @returns {{value: number | null, problem: string | null}}
 */
function parseWatts(text) {
  const parts = /^(.*?)\s*(kW|W)?$/i.exec(text.trim());
  const bare = parts ? parts[1] : "";
  if (text.trim() === "") return { value: null, problem: null };
  const value = numberIn(bare);
  if (value === null) return refusal("enter the watts that the display shows, such as 120");
  const watts = parts && /^k/i.test(parts[2] || "") ? 1000 * value : value;
  if (watts < 0 || watts > MOST_W) return refusal(`enter watts from 0 to ${MOST_W}`);
  return { value: watts, problem: null };
}

/**
 * A number with a decimal point or comma; null for anything else.
 * @param {string} text
 */
function numberIn(text) {
  const match = /^[+-]?\d{1,9}(?:[.,]\d{1,9})?$/.exec(text.trim());
  return match ? Number(match[0].replace(",", ".")) : null;
}

/** @param {string} problem */
function refusal(problem) {
  return { value: null, problem };
}

/**
 * Minutes of the day from 13:20 or 13.20; null for anything else.
 * @param {string} text
 */
function minutesIn(text) {
  const match = /^(\d{1,2})[:.](\d{2})(?::\d{2})?$/.exec(text.trim());
  if (!match || Number(match[1]) > 23 || Number(match[2]) > 59) return null;
  return 60 * Number(match[1]) + Number(match[2]);
}

// The readings.

/**
 * @typedef {{atS: number, cells: {[column: string]: string | number | null | undefined}}} Seen
 */

/**
 * The log as the table of readings that the plan as changed learns from: times on the plan's clock,
 * and of each task that is counted how often it was done since the row before.
 * @param {Kit} kit
 * @param {State} state
 */
function readingsCsv(kit, state) {
  const [startS, endS] = kit.data.span;
  const log = state.log
    .map((entry) => ({ ...entry, atS: Math.min(Math.max(entry.atS, startS), endS) }))
    .sort((a, b) => a.atS - b.atS);
  const rows = [...readRows(log), ...countRows(kit, piecesOf(kit, state), log)];
  rows.sort((a, b) => a.atS - b.atS);
  let latest = "";
  const lines = rows.map(({ atS, cells }) => {
    const time = isoTime(kit, atS);
    if (time > latest) latest = time; // where the clock is put back, it stands
    return COLUMNS.map((column) => cell(column === "time" ? latest : cells[column])).join(",");
  });
  return [COLUMNS.join(","), ...lines, ""].join("\n");
}

/**
 * A row a reading.
 * @param {Entry[]} log
 * @returns {Seen[]}
 */
function readRows(log) {
  return log
    .filter(({ kind }) => kind === "read")
    .map(({ atS, percent, solarW, loadW, sky }) => ({
      atS,
      cells: { battery_percent: percent, solar_w: solarW, load_w: loadW, sky },
    }));
}

/**
 * A row for each count of a task in the time since the row before.
 * @param {Kit} kit
 * @param {Piece[]} pieces
 * @param {Entry[]} log
 * @returns {Seen[]}
 */
function countRows(kit, pieces, log) {
  const names = [...new Set(log.filter(({ kind }) => kind === "done").map(({ task }) => task))];
  const marks = [...new Set([...log.map(({ atS }) => atS), ...midnights(kit, log)])];
  marks.sort((a, b) => a - b);
  return names.flatMap((name) => {
    const tasks = pieces.map(({ task }) => task).filter((task) => task.name === name);
    const word = tasks.length ? wordFor(tasks[0]) : null;
    if (word === null || new Set(tasks.map(countedS)).size > 1 || !countedS(tasks[0])) return [];
    return countsOf(kit, tasks, log, marks).map(({ atS, count }) => ({
      atS,
      cells: { tool: word, count },
    }));
  });
}

/**
 * Midnights from the plan's start to the last line of the log: a count lies within one day.
 * @param {Kit} kit
 * @param {Entry[]} log
 */
function midnights(kit, log) {
  const last = log.length ? dayOf(kit, log[log.length - 1].atS) : kit.firstDay;
  const between = Array.from({ length: last - kit.firstDay }, (_, k) => kit.firstDay + k);
  return between.map((day) => momentOn(kit, ["clock", 1440], day));
}

/**
 * By what a table of readings names a task; null where nothing does.
 * @param {Task} task
 */
function wordFor(task) {
  return task.name !== "" && task.name === task.name.trim() ? task.name : task.tool;
}

/**
 * How long one of what is counted takes [s]; null where a task simply runs on.
 * @param {Task} task
 */
function countedS(task) {
  return repeatsOf(task) !== null ? repeatS(task) : durationS(task);
}

/**
 * How many of a task were done up to each mark since the one before. What is counted at once lies
 * in the task's own hours since it was counted last, or where there are none in all of that time.
 * @param {Kit} kit
 * @param {Task[]} tasks  of one name
 * @param {Entry[]} log
 * @param {number[]} marks
 */
function countsOf(kit, tasks, log, marks) {
  const hours = tasks.flatMap((task) => daysOfTask(kit, task).map(({ window }) => window));
  const [startS] = kit.data.span;
  /** @type {{atS: number, count: number}[]} */
  const counts = [];
  let before = { atS: startS, count: 0 };
  for (const entry of log) {
    if (entry.kind !== "done" || entry.task !== tasks[0].name) continue;
    const total = wholeCount(kit, tasks, entry.amount);
    if (total < before.count) continue;
    const ends = marks.filter((mark) => mark > before.atS && mark <= entry.atS);
    const spans = ends.map(
      (mark, k) => /** @type {Interval} */ ([k ? ends[k - 1] : before.atS, mark]),
    );
    const inHours = spans.map((span) => hours.reduce((s, window) => s + overlapS(span, window), 0));
    const open = inHours.some((s) => s > 0) ? inHours : spans.map(([from, to]) => to - from);
    const shares = sharedOut(total - before.count, open);
    ends.forEach((atS, k) => {
      if (shares[k] > 0 || (entry.amount === 0 && inHours[k] > 0))
        counts.push({ atS, count: shares[k] });
    });
    before = { atS: entry.atS, count: total };
  }
  return counts;
}

/**
 * How many whole repeats or blocks of a task an amount is; below any where none is stated.
 * @param {Kit} kit
 * @param {Task[]} tasks
 * @param {Amount | null | undefined} amount
 */
function wholeCount(kit, tasks, amount) {
  if (amount == null) return -1;
  const unit = unitOf(tasks[0]);
  const holds = tasks
    .flatMap((task) => daysOfTask(kit, task).map((day) => holdsInside(task, day, kit.data.span)))
    .reduce((sum, held) => sum + held, 0);
  const done = amount === "all" ? holds : amount * SECONDS[unit];
  const count = repeatsOf(tasks[0]) !== null ? done : done / (durationS(tasks[0]) || 1);
  return Math.floor(count + 1e-3);
}

/**
 * A count in shares as near to their weights as whole numbers allow.
 * @param {number} count
 * @param {number[]} weights
 */
function sharedOut(count, weights) {
  const sum = weights.reduce((total, weight) => total + weight, 0);
  let upTo = 0;
  let given = 0;
  return weights.map((weight) => {
    upTo += weight;
    const share = Math.round((count * upTo) / (sum || 1)) - given;
    given += share;
    return share;
  });
}

/**
 * A moment on the plan's clock in ISO form.
 * @param {Kit} kit
 * @param {number} timeS
 */
function isoTime(kit, timeS) {
  return new Date(Math.floor(toLocal(kit, timeS)) * 1000).toISOString().slice(0, 19);
}

/**
 * A cell of a table with commas between them.
 * @param {string | number | null | undefined} value
 */
function cell(value) {
  if (value == null) return "";
  const text = String(value);
  return /[",]/.test(text) ? `"${text.replace(/"/g, '""')}"` : text;
}

// The plan.

/**
 * A plan's tables as TOML.
 * @param {Table} tables
 */
function planToml(tables) {
  return `${blocks("", tables, "").join("\n\n").trim()}\n`;
}

/**
 * A table under its heading, and the tables in it under theirs.
 * @param {string} heading
 * @param {Table} table
 * @param {string} path  before the names of the tables in it
 * @returns {string[]}
 */
function blocks(heading, table, path) {
  const entries = Object.entries(table);
  const inner = entries.filter(([, value]) => isRecord(value) || isTableList(value, path));
  const lines = entries
    .filter((entry) => !inner.includes(entry))
    .map(([key, value]) => `${tomlKey(key)} = ${tomlValue(value)}`);
  const below = inner.flatMap(([key, value]) => {
    const name = path + tomlKey(key);
    if (isRecord(value)) return blocks(`[${name}]`, value, `${name}.`);
    return value.flatMap((/** @type {Table} */ item) => blocks(`[[${name}]]`, item, `${name}.`));
  });
  return [[...(heading ? [heading] : []), ...lines].join("\n"), ...below];
}

/**
 * Whether a value is a list of tables that stands under headings: those of the plan itself.
 * @param {any} value
 * @param {string} path
 */
function isTableList(value, path) {
  return path === "" && Array.isArray(value) && value.length > 0 && value.every(isRecord);
}

/** @param {string} key */
function tomlKey(key) {
  return /^[A-Za-z0-9_-]+$/.test(key) ? key : tomlText(key);
}

/**
 * @param {any} value
 * @returns {string}
 */
function tomlValue(value) {
  if (Array.isArray(value)) return `[${value.map(tomlValue).join(", ")}]`;
  if (isRecord(value)) {
    const pairs = Object.entries(value).map(
      ([key, item]) => `${tomlKey(key)} = ${tomlValue(item)}`,
    );
    return `{ ${pairs.join(", ")} }`;
  }
  if (typeof value === "string") return tomlText(value);
  const beyondWhole = Number.isInteger(value) && !Number.isSafeInteger(value);
  return beyondWhole ? value.toExponential() : String(value);
}

/**
 * Text between quotes; what cannot stand there is written by its number.
 * @param {string} text
 */
function tomlText(text) {
  const escaped = text.replace(/["\\\p{Cc}]/gu, (letter) =>
    letter === '"' || letter === "\\"
      ? `\\${letter}`
      : `\\u${letter.charCodeAt(0).toString(16).padStart(4, "0")}`,
  );
  return `"${escaped}"`;
}
