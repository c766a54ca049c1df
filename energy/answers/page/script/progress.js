"use strict";

// A plan under way: what was done of its tasks so far, and what that leaves to come.

/**
 * What is left of a task in one of its windows: how many repeats, or seconds of a block, and from
 * when to when they may come. begun: some of it was done. asPlanned: nothing was done and all lies
 * ahead, at its own times.
 * @typedef {{
 *   day: Day, window: Interval, amount: number, begun: boolean, asPlanned: boolean,
 * }} Left
 */

/**
 * How far the tasks of one name and unit are. planned: in the whole span; done: as it was said;
 * over: undone, and no time of its own is left for it; left: what still comes of each task, by its
 * number.
 * @typedef {{
 *   name: string, unit: keyof typeof SECONDS, planned: number, done: number, over: number,
 *   left: Map<number, Left[]>,
 * }} Progress
 */

const LEAST_AMOUNT = 1e-6;

/**
 * What was done of a plan's tasks before a span, and what that leaves. Windows are done in the
 * order of time.
 * @param {Kit} kit
 * @param {Task[]} tasks
 * @param {Day[][]} every  as `daysOf`
 * @param {Interval} span
 * @param {Record<string, number>} done  by a task's name or tool how much of it since the plan's
 *   start, in the unit in which it is stated; Infinity: all
 * @returns {Progress[]}
 */
function progressOf(kit, tasks, every, span, done) {
  return Object.entries(done).flatMap(([name, amount]) => {
    const numbers = tasksCalled(tasks, name);
    const units = new Set(numbers.map((k) => unitOf(tasks[k])));
    return [...units].map((unit) => {
      const group = numbers.filter((k) => unitOf(tasks[k]) === unit);
      return progressOfGroup(kit, tasks, group, every, span, amount * SECONDS[unit]);
    });
  });
}

/**
 * The numbers of the tasks of a name or, where none has it, of a tool.
 * @param {Task[]} tasks
 * @param {string} word
 */
function tasksCalled(tasks, word) {
  const numbers = [...tasks.keys()];
  const byName = numbers.filter((k) => tasks[k].name === word);
  return byName.length > 0 ? byName : numbers.filter((k) => tasks[k].tool === word);
}

/**
 * What is left of each task, by the number of its window.
 * @param {Progress[]} progress
 */
function leftByWindow(progress) {
  /** @type {Map<number, Map<number, Left>>} */
  const byTask = new Map();
  for (const { left } of progress) {
    for (const [k, parts] of left) {
      byTask.set(k, new Map(parts.map((part) => [part.day.number, part])));
    }
  }
  return byTask;
}

/**
 * How far some tasks of one unit are: in each window as much is done as there is still to do.
 * @param {Kit} kit
 * @param {Task[]} tasks
 * @param {number[]} group
 * @param {Day[][]} every
 * @param {Interval} span
 * @param {number} amount  repeats or seconds
 * @returns {Progress}
 */
function progressOfGroup(kit, tasks, group, every, span, amount) {
  /** @type {Map<number, Left[]>} */
  const left = new Map(group.map((k) => [k, []]));
  let planned = 0;
  let toDo = amount;
  let over = 0;
  for (const { k, day } of inOrderOfTime(group, every)) {
    const holds = holdsInside(tasks[k], day, kit.data.span);
    const did = Math.min(holds, toDo);
    planned += holds;
    toDo -= did;
    const rest = leftIn(tasks[k], day, holds - did, did > 0, span);
    over += holds - did - rest.amount;
    if (rest.amount > LEAST_AMOUNT) left.get(k)?.push(rest);
  }
  const { name } = tasks[group[0]];
  const unit = unitOf(tasks[group[0]]);
  const done = amount === Infinity ? planned : amount;
  const each = SECONDS[unit];
  return { name, unit, planned: planned / each, done: done / each, over: over / each, left };
}

/**
 * @param {number[]} group
 * @param {Day[][]} every
 */
function inOrderOfTime(group, every) {
  return group
    .flatMap((k) => every[k].map((day) => ({ k, day })))
    .sort((a, b) => a.day.window[0] - b.day.window[0] || a.day.window[1] - b.day.window[1] ||
      a.k - b.k);
}

/**
 * How many repeats, or seconds, of a window lie inside the plan's span.
 * @param {Task} task
 * @param {Day} day
 * @param {Interval} planSpan
 */
function holdsInside(task, day, planSpan) {
  const insideS = day.intervals.map((interval) => overlapS(interval, planSpan));
  if (repeatsOf(task) !== null) return insideS.filter((s) => s > 0).length;
  return insideS.reduce((sum, s) => sum + s, 0);
}

/**
 * Seconds that two intervals have in common.
 * @param {Interval} first
 * @param {Interval} second
 */
function overlapS(first, second) {
  return Math.max(Math.min(first[1], second[1]) - Math.max(first[0], second[0]), 0);
}

/**
 * What of a window still comes: of what is undone as much as there is room for.
 * @param {Task} task
 * @param {Day} day
 * @param {number} undone
 * @param {boolean} begun
 * @param {Interval} ahead
 * @returns {Left}
 */
function leftIn(task, day, undone, begun, ahead) {
  /** @type {Interval} */
  const window = [Math.max(day.window[0], ahead[0]), Math.min(day.window[1], ahead[1])];
  if (task.at && window[1] > window[0]) window[1] = ahead[1]; // once begun it goes on to its end
  if (!begun && day.window[0] >= ahead[0]) {
    return { day, window, amount: undone, begun: false, asPlanned: true };
  }
  const amount = Math.min(undone, roomIn(task, window));
  return { day, window, amount, begun, asPlanned: false };
}

/**
 * How many repeats fit into a window, or how many seconds of a block.
 * @param {Task} task
 * @param {Interval} window
 */
function roomIn(task, window) {
  const longS = Math.max(window[1] - window[0], 0);
  if (repeatsOf(task) === null) return longS;
  if (task.at) return -wholeTimes(-longS, paceS(task)); // as many as begin in time
  return wholeTimes(Math.floor(longS), repeatS(task) || 0); // a plan's clock has whole seconds
}

/**
 * How often one length goes into another, rounded down; exact where their quotient is not.
 * @param {number} long
 * @param {number} each
 */
function wholeTimes(long, each) {
  const rest = long % each;
  return Math.round((long - rest) / each) - (rest < 0 ? 1 : 0);
}
