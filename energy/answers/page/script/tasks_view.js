"use strict";

// The tasks: how much of each is done, when it comes, and what can be done about it.

const STEP_OF_UNIT = { times: 1, charges: 1, minutes: 5, hours: 0.5 };
const RUN_OF_DAYS = 3; // and more are said from the first to the last
const LONG_SPAN_DAYS = 28; // a weekday with its date comes again
const UNIT_WORDS = { times: "", charges: "charges", minutes: "min", hours: "h" };

/**
 * @param {View} view
 * @returns {Part}
 */
function tasksPart(view) {
  /** @type {Map<string, Part>} */
  const cards = new Map();
  const list = make("ul", { class: "tasks" });
  const element = make("div", { class: "live" }, make("h2", {}, "Tasks"), list);
  return {
    element,
    update() {
      const names = [...new Set(everyTask(view.kit, view.kept.state).map(({ task }) => task.name))];
      keepItems(list, names, (name) => {
        const card = taskCard(view, name);
        cards.set(name, card);
        return card.element;
      });
      for (const name of names) cards.get(name)?.update();
    },
  };
}

/**
 * All tasks of a name: how much is done, and a line for each time at which it comes.
 * @param {View} view
 * @param {string} name
 * @returns {Part}
 */
function taskCard(view, name) {
  const times = make("ul", { class: "times" });
  /** @type {Map<string, ReturnType<typeof timesRow>>} */
  const rows = new Map();
  const stepper = doneStepper(view, name, () => [...rows.values()].some((row) => row.isOpen()));
  const element = make(
    "li",
    { class: "card" },
    make("h3", { dir: "auto" }, name || "task"),
    times,
    stepper.element,
  );
  return {
    element,
    update() {
      const numbers = everyTask(view.kit, view.kept.state)
        .filter(({ task }) => task.name === name)
        .map(({ index }) => String(index));
      keepItems(times, numbers, (key) => {
        const row = timesRow(view, Number(key), stepper.update);
        rows.set(key, row);
        return row.element;
      });
      for (const key of numbers) rows.get(key)?.update();
      stepper.update();
    },
  };
}

/**
 * When a task comes, why it does not, and what can be done.
 * @param {View} view
 * @param {number} index
 * @param {() => void} opened  what to do when its buttons are shown
 * @returns {Part & {isOpen: () => boolean}}
 */
function timesRow(view, index, opened) {
  const when = make("p", { class: "when" });
  const why = make("p", { class: "problem", dir: "auto" });
  const over = make("p", { class: "quiet" }, "its time is over");
  const actions = taskActions(view, index);
  const { name } = everyTask(view.kit, view.kept.state)[index].task;
  const opener = pressable(
    "Change",
    () => {
      show(actions.element, actions.element.hidden);
      opener.setAttribute("aria-expanded", String(!actions.element.hidden));
      opened();
    },
    { "aria-expanded": "false", "aria-label": `Change: ${name}`, class: "plain" },
  );
  show(actions.element, false);
  return {
    element: make("li", {}, box("row", when, opener), why, over, actions.element),
    isOpen: () => !actions.element.hidden,
    update() {
      const mine = view.pieces.flatMap((piece, k) => (piece.index === index ? [{ piece, k }] : []));
      const isOut = mine.length === 0;
      const left = isOut ? [everyTask(view.kit, view.kept.state)[index]] : [];
      const shown = [...left, ...mine.map(({ piece }) => piece)];
      const times = shown
        .map((piece) => taskTimes(view.kit, piece, view.now().atS))
        .filter(Boolean)
        .join("; ");
      say(when, isOut ? `left out (${times})` : times || "nothing of it lies inside the span");
      const numbers = mine.map(({ k }) => k);
      const reasons = numbers.map((k) => whyWords(view.answer, k)).filter(Boolean);
      say(why, reasons.join("; "));
      show(why, reasons.length > 0);
      show(over, isOver(view, numbers, name));
      actions.update();
    },
  };
}

/**
 * Why a task of those asked does not run, or not all of it; empty where nothing hinders it.
 * @param {Answer} answer
 * @param {number} k
 */
function whyWords(answer, k) {
  const { tasks, problems } = answer;
  const problem = problems.find(({ task }) => task === k);
  if (problem) return problem.text;
  const { runs, whyNot } = tasks[k];
  if (whyNot === null || !comes(answer, k)) return "";
  return runs ? whyNot : `cannot run: ${whyNot}`;
}

/**
 * Whether anything of a task is to come, or would if a limit let it.
 * @param {Answer} answer
 * @param {number} k
 */
function comes({ tasks, bursts: running }, k) {
  return !tasks[k].runs || running.some(({ task }) => task === k);
}

/**
 * Whether nothing of some tasks comes any more although not all of their name is done.
 * @param {View} view
 * @param {number[]} numbers
 * @param {string} name
 */
function isOver(view, numbers, name) {
  if (numbers.length === 0 || numbers.some((k) => comes(view.answer, k))) return false;
  const { planned, value } = doneNow(view, name);
  return value < planned - 0.05;
}

/**
 * When a task comes and how much of it, in words; empty where nothing of it lies in the span. The
 * sun's moments have the clock of the window that is open at a time, or of the next one.
 * @param {Kit} kit
 * @param {Piece} piece
 * @param {number} atS
 */
function taskTimes(kit, { task, part }, atS) {
  const [startS, endS] = kit.data.span;
  const days = daysOf(kit, [task]).every[0].filter(({ intervals }) =>
    intervals.some(([fromS, toS]) => toS > startS && fromS < endS),
  );
  if (days.length === 0) return "";
  const { window } = days.find(({ window: [, closesS] }) => closesS > atS) || days[days.length - 1];
  const times = task.at
    ? momentWords(kit, task.at, window[0])
    : task.between
      ? task.between.map((moment, k) => momentWords(kit, moment, window[k])).join(" to ")
      : "day and night";
  const on = kit.firstDay === kit.lastDay ? "" : daysWords(kit, days);
  const when = on && (task.between || task.at) ? `${on} ` : "";
  const much = amountWords(task);
  return `${part === "now" ? "moved to " : ""}${when}${times}${much && `: ${much}`}`;
}

/**
 * On which days of the span some windows begin; those that follow each other as a run.
 * @param {Kit} kit
 * @param {Day[]} days
 */
function daysWords(kit, days) {
  /** @type {number[][]} */
  const runs = [];
  for (const { date } of days) {
    const last = runs[runs.length - 1];
    if (last && date === last[last.length - 1] + 1) last.push(date);
    else runs.push([date]);
  }
  const [first] = runs[0];
  if (first === kit.firstDay && runs[0].includes(kit.lastDay)) return "every day";
  return runs
    .flatMap((run) => {
      const names = run.map((date) => dayWord(kit, date));
      return run.length < RUN_OF_DAYS ? names : `${names[0]} to ${names[names.length - 1]}`;
    })
    .join(", ");
}

/**
 * A date in as few words as tell it from the others of the span.
 * @param {Kit} kit
 * @param {number} date
 */
function dayWord(kit, date) {
  const { weekday, day, month } = localFields(kit, toUtc(kit, date * DAY_S + DAY_S / 2));
  const long = kit.lastDay - kit.firstDay;
  if (long < 6) return weekday; // the evening before the span is told too
  return `${weekday} ${day}${long < LONG_SPAN_DAYS ? "" : ` ${month}`}`;
}

/**
 * A moment of the day; the sun's with its clock.
 * @param {Kit} kit
 * @param {Moment} moment
 * @param {number} timeS  when it comes
 */
function momentWords(kit, [anchor, minutes], timeS) {
  if (anchor === "clock") return timeOfDay(minutes);
  const away =
    minutes === 0 ? "at" : `${brief(Math.abs(minutes))} min ${minutes < 0 ? "before" : "after"}`;
  return `${hourMinute(kit, timeS)} (${away} ${anchor})`;
}

/**
 * How much of a task each of its days holds; empty for its hours alone.
 * @param {Task} task
 */
function amountWords(task) {
  const repeats = repeatsOf(task);
  if (repeats === null) return lengthWords(durationS(task));
  if (task.charges != null) return `${repeats} charge${repeats > 1 ? "s" : ""}`;
  const once = lengthWords(repeatS(task));
  return repeats === 1 ? once : `${repeats} times, ${once} each`;
}

/** @param {number | null} seconds */
function lengthWords(seconds) {
  if (seconds === null) return "";
  if (seconds < 120) return `${brief(seconds)} s`;
  return seconds < 7200 ? `${brief(seconds / 60)} min` : `${brief(seconds / 3600)} h`;
}

/**
 * The buttons of a task.
 * @param {View} view
 * @param {number} index
 */
function taskActions(view, index) {
  const atS = () => view.now().atS;
  /** @param {number} minutes */
  const shift = (minutes) => () => view.act({ kind: "shift", atS: atS(), task: index, minutes });
  /** @param {"drop" | "restore" | "now" | "as planned"} kind */
  const act = (kind) => () => view.act({ kind, atS: atS(), task: index });
  const name = everyTask(view.kit, view.kept.state)[index].task.name;
  /** @param {string} text */
  const label = (text) => ({ "aria-label": `${text}: ${name}` });
  const earlier = pressable("Earlier", shift(-SHIFT_MIN), label("15 minutes earlier"));
  const later = pressable("Later", shift(SHIFT_MIN), label("15 minutes later"));
  const now = pressable("Do now", act("now"), label("Do now"));
  const planned = pressable("As planned", act("as planned"), label("At its planned time"));
  const drop = pressable("Leave out", () => swap("drop", restore), label("Leave out"));
  const restore = pressable("Bring back", () => swap("restore", drop), label("Bring back"));
  /** @param {"drop" | "restore"} kind @param {HTMLElement} other */
  const swap = (kind, other) => act(kind)() && other.focus();
  return {
    element: make("div", { class: "actions" }, earlier, later, now, planned, drop, restore),
    update() {
      const { state } = view.kept;
      const { task } = everyTask(view.kit, state)[index];
      const isOut = state.dropped.includes(index);
      const moved = own(state.shift, index) !== undefined || own(state.now, index) !== undefined;
      const moves = !isOut && (task.at !== null || task.between !== null);
      show(earlier, moves);
      show(later, moves);
      show(now, !isOut && isCounted(task));
      show(planned, !isOut && moved);
      show(drop, !isOut);
      show(restore, isOut);
    },
  };
}

/**
 * How much of the tasks of a name is done: a field between two buttons. What has its hours alone
 * shows it when its buttons are open, or something is stated.
 * @param {View} view
 * @param {string} name
 * @param {() => boolean} isOpen
 */
function doneStepper(view, name, isOpen) {
  const amount = numberField({ "aria-label": `Done of ${name}`, size: 3 });
  const of = make("span", { class: "unit" });
  const note = make("p", { class: "quiet" });
  /** @param {Amount | null} value */
  const set = (value) => view.act({ kind: "done", atS: view.now().atS, name, amount: value });
  const typed = () => {
    const value = numberIn(amount.value);
    if (value === null || !set(value)) element.update();
  };
  amount.addEventListener("change", typed);
  /** @param {number} sign */
  const stepped = (sign) => () => {
    const { value, unit } = doneNow(view, name);
    if (unit) set(Math.max(Math.round((value + sign * STEP_OF_UNIT[unit]) * 100) / 100, 0));
  };
  const [fewer, more] = [
    pressable("−", stepped(-1), { "aria-label": `Less done: ${name}`, class: "step" }),
    pressable("+", stepped(1), { "aria-label": `More done: ${name}`, class: "step" }),
  ];
  const [none, all] = [
    pressable("None done", () => set(0), { "aria-label": `None done: ${name}` }),
    pressable("All done", () => set("all"), { "aria-label": `All done: ${name}` }),
  ];
  const asPlanned = pressable("As planned", () => set(doneNow(view, name).value), {
    "aria-label": `Done as planned: ${name}`,
  });
  const box = make("div", { class: "done" }, fewer, amount, more, of, asPlanned, none, all);
  const element = {
    element: make("div", {}, box, note),
    update() {
      const { planned, value, unit, stated } = doneNow(view, name);
      const counted = view.pieces.some(({ task }) => task.name === name && isCounted(task));
      const isHere = planned > 0 && (counted || stated !== undefined || isOpen());
      show(box, isHere);
      for (const control of [fewer, amount, more, of]) show(control, unit !== null);
      for (const control of [none, all]) show(control, unit === null);
      show(asPlanned, unit !== null && stated === undefined && value > 0);
      if (unit && numberIn(amount.value) !== value) amount.value = brief(value);
      say(of, ofPlanned(planned, unit));
      say(note, doneNote(view, name, stated));
      show(note, isHere && note.textContent !== "");
      fewer.toggleAttribute("disabled", unit !== null && value <= 0);
    },
  };
  return element;
}

/**
 * @param {number} planned
 * @param {keyof typeof UNIT_WORDS | null} unit
 */
function ofPlanned(planned, unit) {
  const amount = brief(Math.round(10 * planned) / 10);
  const word = unit === "charges" && planned === 1 ? "charge" : unit ? UNIT_WORDS[unit] : "";
  return `of ${amount}${word && ` ${word}`} done`;
}

/**
 * How much of a name is planned, and done: as stated, else what the clock takes as done by now.
 * @param {View} view
 * @param {string} name
 */
function doneNow(view, name) {
  const unit = unitOfName(view.pieces, name);
  const { planned, byClock } = plannedOf(
    view.kit,
    view.pieces,
    name,
    view.now().atS,
    view.turnedAway,
  );
  const stated = own(view.kept.state.done, name);
  const value = stated === undefined ? byClock : stated === "all" ? planned : stated;
  return { unit, planned, value, stated };
}

/**
 * What is to be said of an amount: that it is not stated, or does not count yet.
 * @param {View} view
 * @param {string} name
 * @param {Amount | undefined} stated
 */
function doneNote({ kept: { state } }, name, stated) {
  if (stated === undefined) return "";
  const counted = state.reading ? own(state.reading.done, name) : undefined;
  return counted === stated ? "" : "Counts from the next reading on.";
}
