"use strict";

// The page in the hand: it puts the parts together, asks anew after every action and keeps what was
// entered. The parts are made in now_view.js, tasks_view.js, more_view.js and log_view.js.

/**
 * What the page takes as now [UTC s], inside the span; before, after: the clock lies outside.
 * @typedef {{atS: number, clockS: number, where: "before" | "inside" | "after"}} Now
 *
 * A part of the page: update shows anew, later what takes longer, once that is worked out.
 * @typedef {{element: HTMLElement, update: () => void, later?: () => void}} Part
 *
 * @typedef {{kit: Kit, kept: Kept, pieces: Piece[], turnedAway: Burst[], asked: Asked,
 *   answer: Answer, points: Checkpoint[], byHandS: number,
 *   picked: string | null, now: () => Now, act: (action: Action) => boolean, undo: () => void,
 *   tell: (text: string, isProblem?: boolean) => void, keeper: Keeper, parts: Part[],
 *   timer: number}} View
 */

const NOW_EVERY_MS = 20000;
const LATER_MS = 30; // the answer is on the screen by then
/** @type {{[answer: string]: {word: string, mark: string}}} */
const ANSWERS = {
  yes: { word: "YES", mark: "✓" },
  almost: { word: "ALMOST", mark: "!" },
  no: { word: "NO", mark: "✕" },
};

/**
 * What the page takes as now.
 * @param {Kit} kit
 * @param {number} byHandS  by how much the clock was set by hand
 * @returns {Now}
 */
function nowOf({ data }, byHandS) {
  const [startS, endS] = data.span;
  const clockS = Date.now() / 1000 + byHandS;
  if (clockS < startS) return { atS: startS, clockS, where: "before" };
  return clockS < endS
    ? { atS: clockS, clockS, where: "inside" }
    : { atS: endS, clockS, where: "after" };
}

/**
 * What a state asks, and the answer.
 * @param {Kit} kit
 * @param {State} state
 */
function asking(kit, state) {
  const [pieces, asked] = [piecesOf(kit, state), askedOf(kit, state)];
  return { pieces, asked, turnedAway: turnedAwayOf(kit, asked.tasks), answer: ask(kit, asked) };
}

/**
 * Show everything anew: the answer and its curve at once, what to look out for right after.
 * @param {View} view
 */
function showAnew(view) {
  const stale = document.getElementById("stale");
  if (stale) show(stale, view.kept.state.log.length > 0);
  for (const part of view.parts) part.update();
  clearTimeout(view.timer);
  view.timer = setTimeout(() => {
    view.points = checkpointsOf(view.kit, view.answer);
    for (const part of view.parts) part.later?.();
  }, LATER_MS);
}

/**
 * Take up a history: keep it, ask and show anew.
 * @param {View} view
 * @param {Kept} kept
 * @returns {boolean} whether the browser keeps it
 */
function takeUp(view, kept) {
  const isKept = view.keeper.keep(dump(view.kit, kept));
  takeOver(view, kept);
  return isKept;
}

/**
 * Ask and show anew with a history that is kept already.
 * @param {View} view
 * @param {Kept} kept
 */
function takeOver(view, kept) {
  view.kept = kept;
  Object.assign(view, asking(view.kit, kept.state));
  view.points = [];
  showAnew(view);
}

/**
 * @param {Kit} kit
 * @param {Keeper} keeper
 * @param {Kept} kept
 * @returns {View}
 */
function newView(kit, keeper, kept) {
  /** @type {View} */
  const view = {
    kit,
    kept,
    keeper,
    ...asking(kit, kept.state),
    points: [],
    byHandS: keeper.byHandS,
    picked: null,
    now: () => nowOf(kit, view.byHandS),
    act(action) {
      const { history, problem } = afterAction(kit, view.kept, action);
      if (problem !== null) {
        view.tell(problem, true);
        return false;
      }
      if (!takeUp(view, history)) {
        view.tell(FORGETS, true);
        return true;
      }
      const last = history.state.log[history.state.log.length - 1];
      view.tell(last ? entryWords(kit, last) : "Everything entered is taken back");
      return true;
    },
    undo() {
      takeUp(view, undo(view.kept));
      view.tell("The last entry is taken back");
    },
    tell: () => {},
    parts: [],
    timer: 0,
  };
  return view;
}

/**
 * The bar at the foot: the answer, what was just done, and undo.
 * @param {View} view
 * @returns {Part}
 */
function footPart(view) {
  const word = make("strong", { "aria-hidden": "true" });
  const said = make("span", { role: "status", "aria-live": "polite", dir: "auto" });
  const back = pressable("Undo", view.undo);
  const element = make("div", { class: "foot", hidden: true }, word, said, back);
  view.tell = (text, isProblem = false) => {
    show(element, true);
    element.classList.toggle("problem", isProblem);
    show(word, !isProblem);
    said.textContent = text;
    show(back, !isProblem && view.kept.past.length > 0);
  };
  return {
    element,
    update() {
      const { answer } = view.answer;
      word.className = answer;
      say(word, `${ANSWERS[answer].mark} ${ANSWERS[answer].word}`);
    },
  };
}

/**
 * Put a part into its section: what stood there is for paper from now on.
 * @param {string} id
 * @param {Part[]} parts
 */
function place(id, parts) {
  const section = document.getElementById(id) || make("section", { id });
  const still = make("div", { class: "still" });
  still.append(...section.childNodes);
  section.append(still, ...parts.map(({ element }) => element));
  return section;
}

/**
 * Build the page: the first screen in one column, what is done in another, what stays as it was
 * made in a third.
 * @param {HTMLElement} main
 * @param {View} view
 */
function build(main, view) {
  const foot = footPart(view);
  const now = [nowPart(view), curvePart(view)];
  const first = {
    answer: [answerPart(view)],
    now: [now[0]],
    curve: [now[1]],
    reading: [readingPart(view)],
  };
  const rest = {
    tasks: [tasksPart(view), addPart(view)],
    fits: [fitsPart(view)],
    sky: [skyPart(view)],
    checkpoints: [checkpointsPart(view)],
    log: [logPart(view)],
  };
  view.parts = [...Object.values(first).flat(), ...Object.values(rest).flat(), foot];
  const columns = [first, rest].map((parts) =>
    make("div", { class: "column" }, ...Object.entries(parts).map(([id, some]) => place(id, some))),
  );
  const last = make("div", { class: "column" }, ...main.querySelectorAll("#care, #rests"));
  main.prepend(...columns, last);
  main.append(foot.element);
  document.getElementById("answer")?.setAttribute("aria-atomic", "true");
  document.getElementById("now")?.removeAttribute("aria-live"); // it changes by itself
  document.documentElement.classList.add("in-hand");
  showAnew(view);
  return now;
}

/** Read what the page carries, and begin. */
function begin() {
  const main = document.querySelector("main");
  const carried = document.getElementById("data");
  if (!main || !carried) return;
  const whole = /** @type {HTMLElement} */ (document.documentElement.cloneNode(true));
  const kit = decode(JSON.parse(carried.textContent || ""));
  const keeper = newKeeper(kit, whole);
  const view = newView(kit, keeper, keeper.kept);
  const moving = build(main, view);
  window.addEventListener("storage", ({ key, newValue }) => {
    const { history } = key === keeper.key && newValue ? load(kit, newValue) : { history: null };
    if (history && history.turns > view.kept.turns) takeOver(view, history);
  });
  setInterval(() => {
    for (const part of moving) part.update();
    moving[0].later?.();
  }, NOW_EVERY_MS);
  window.addEventListener("resize", moving[1].update);
}

if (typeof document !== "undefined") begin();
