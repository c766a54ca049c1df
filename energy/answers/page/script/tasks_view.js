"use strict";

// The tasks: how much of each is done, when it comes, and what can be done about it.

const STEP_OF_UNIT = { times: 1, charges: 1, minutes: 5, hours: 0.5 };
const UNIT_WORDS = { times: "", charges: "charges", minutes: "min", hours: "h" };

/**
 * @param {View} view
 * @returns {Part}
 */
function tasksPart(view) {
  /** @type {Map<string, Part>} */
  const cards = new Map();
  const list = make("ul", { class: "tasks" });
  const element = make("section", { "aria-labelledby": "tasks" }, make("h2", { id: "tasks" }, "Tasks"), list);
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
  const stepper = doneStepper(view, name);
  const times = make("ul", { class: "times" });
  /** @type {Map<string, Part>} */
  const rows = new Map();
  const element = make("li", { class: "card" }, make("h3", { dir: "auto" }, name || "task"), times, stepper.element);
  return {
    element,
    update() {
      const numbers = everyTask(view.kit, view.kept.state)
        .filter(({ task }) => task.name === name)
        .map(({ index }) => String(index));
      keepItems(times, numbers, (key) => {
        const row = timesRow(view, Number(key));
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
 * @returns {Part}
 */
function timesRow(view, index) {
  const when = make("p", { class: "when" });
  const why = make("p", { class: "problem", dir: "auto" });
  const actions = taskActions(view, index);
  const element = make("li", {}, when, why, actions.element);
  return {
    element,
    update() {
      const mine = view.pieces.flatMap((piece, k) => (piece.index === index ? [{ piece, k }] : []));
      const isOut = mine.length === 0;
      element.classList.toggle("out", isOut);
      const shown = isOut ? [everyTask(view.kit, view.kept.state)[index]] : mine.map(({ piece }) => piece);
      say(when, shown.map((piece) => whenWords_(view.kit, piece)).join("; ") + (isOut ? ": left out" : ""));
      const reasons = mine.map(({ k }) => whyWords(view.answer, k)).filter(Boolean);
      say(why, reasons.join("; "));
      show(why, reasons.length > 0);
      actions.update();
    },
  };
}

/**
 * Why a task of those asked does not run, or not all of it; empty where nothing hinders it.
 * @param {Answer} answer
 * @param {number} k
 */
function whyWords({ tasks, problems }, k) {
  const problem = problems.find(({ task }) => task === k);
  if (problem) return problem.text;
  const { runs, whyNot } = tasks[k];
  if (whyNot === null) return "";
  return runs ? whyNot : `cannot run: ${whyNot}`;
}

/**
 * When a task comes and how much of it, in words.
 * @param {Kit} kit
 * @param {Piece} piece
 */
function whenWords_(kit, { task, part }) {
  const several = kit.lastDay > kit.firstDay;
  const days = task.days ? task.days.map((number) => dayWord(kit, number)).join(", ") : "every day";
  const times = task.at
    ? momentWords(kit, task.at)
    : task.between
      ? `${momentWords(kit, task.between[0])} to ${momentWords(kit, task.between[1])}`
      : "day and night";
  const much = amountWords(task);
  return `${several && !(task.days === null && times === "day and night") ? `${days} ` : ""}${times}` +
    `${much && `: ${much}`}${part === "now" ? ", at once" : ""}`;
}

/**
 * @param {Kit} kit
 * @param {number} number  of a day of the span
 */
function dayWord(kit, number) {
  const { weekday, day } = localFields(kit, toUtc(kit, (kit.firstDay + number - 1) * DAY_S + DAY_S / 2));
  return kit.lastDay - kit.firstDay < 7 ? weekday : `${weekday} ${day}`;
}

/**
 * A moment of the day; the sun's with its clock on the first day.
 * @param {Kit} kit
 * @param {Moment} moment
 */
function momentWords(kit, moment) {
  const [anchor, minutes] = moment;
  if (anchor === "clock") return timeOfDay(minutes);
  const about = hourMinute(kit, momentOn(kit, moment, kit.firstDay));
  const away = minutes === 0 ? "at" : `${brief(Math.abs(minutes))} min ${minutes < 0 ? "before" : "after"}`;
  return `${about} (${away} ${anchor})`;
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
 * How much of the tasks of a name is done: a field between two buttons.
 * @param {View} view
 * @param {string} name
 */
function doneStepper(view, name) {
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
  const box = make("div", { class: "done" }, make("span", {}, "done"), fewer, amount, more, of, none, all);
  const element = {
    element: make("div", {}, box, note),
    update() {
      const { planned, value, unit, stated } = doneNow(view, name);
      const isHere = planned > 0;
      show(box, isHere);
      for (const control of [fewer, amount, more, of]) show(control, unit !== null);
      for (const control of [none, all]) show(control, unit === null);
      if (unit && document.activeElement !== amount) amount.value = brief(value);
      if (unit && amount.value !== brief(value)) amount.value = brief(value);
      say(of, `of ${brief(planned)} ${unit ? UNIT_WORDS[unit] : ""}`.trim());
      say(note, doneNote(view, name, stated));
      show(note, isHere && note.textContent !== "");
      fewer.toggleAttribute("disabled", unit !== null && value <= 0);
    },
  };
  return element;
}

/**
 * How much of a name is planned, and done: as stated, else as planned by now.
 * @param {View} view
 * @param {string} name
 */
function doneNow(view, name) {
  const unit = unitOfName(view.pieces, name);
  const { planned, over } = plannedOf(view.kit, view.pieces, name, view.now().atS);
  const stated = own(view.kept.state.done, name);
  const value = stated === undefined ? over : stated === "all" ? planned : stated;
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
