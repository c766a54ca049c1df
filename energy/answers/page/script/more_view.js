"use strict";

// What may be added, what still fits, under which sky, and when to look at the display.

/** @type {{[name: string]: string}} */
const SKY_WORDS = {
  clear: "clear",
  few: "few clouds",
  scattered: "half clouded",
  broken: "broken",
  overcast: "overcast",
};
const FITS_AFTER_MS = 400;

/**
 * A task from the tools that the page carries.
 * @param {View} view
 * @returns {Part}
 */
function addPart(view) {
  const picker = toolPicker(view, () => amount.suit(picker.tool()));
  const amount = amountFields();
  const time = /** @type {HTMLInputElement} */ (make("input", { type: "time" }));
  const add = () => {
    const tool = picker.tool();
    const asked = tool && amount.typed(tool);
    const minute = minutesIn(time.value);
    if (!tool || !asked) return view.tell("enter how much of it, as a number", true);
    if (minute === null) return view.tell("enter the time at which it begins, such as 13:30", true);
    view.act({ kind: "add", atS: view.now().atS, tool: tool.tool || "", amount: asked, minute });
  };
  const begins = labelled("Begins today at", time);
  const fields = [...picker.fields, ...amount.fields, begins, mainButton("Add")];
  const form = formOf({ class: "controls" }, add, ...fields);
  amount.suit(picker.tool());
  let suggested = "";
  const element = box("live card", opening(make("h2", {}, "Add a task"), form));
  return {
    element,
    update() {
      if (time.value !== suggested) return; // a time of the person's own
      suggested = clockFace(view.kit, Math.ceil(view.now().atS / 300) * 300);
      time.value = suggested;
    },
  };
}

/**
 * A tool looked for by its words and picked from those that have them.
 * @param {View} view
 * @param {() => void} picked  what to do when another is picked
 */
function toolPicker(view, picked) {
  const search = /** @type {HTMLInputElement} */ (
    make("input", { type: "search", autocomplete: "off" })
  );
  const select = chooser([]);
  const matches = make("p", { class: "quiet", role: "status" });
  const find = () => {
    const tools = toolsLike(view.kit, search.value);
    const before = select.value;
    const options = tools.map((tool) => make("option", { value: tool.tool }, toolWords(tool)));
    select.replaceChildren(...options);
    if (tools.some(({ tool }) => tool === before)) select.value = before;
    const several = `${tools.length} tool${tools.length > 1 ? "s" : ""}`;
    say(matches, tools.length ? several : "no tool of that name");
  };
  search.addEventListener("input", () => {
    find();
    picked();
  });
  select.addEventListener("change", () => {
    picked();
    countToo(view, select.value);
  });
  find();
  return {
    fields: [labelled("Search the tools", search), labelled("Tool", select), matches],
    tool: () => toolOf(view.kit, select.value),
  };
}

/** The fields of how much of a tool; suit: shows those that a tool wants. */
function amountFields() {
  const [amount, each] = [numberField({ value: "1" }), numberField({ value: "60" })];
  const counted = chooser(["minutes", "times"].map((word) => [word, word]));
  const much = labelled("How much", amount);
  const [inWhat, howLong] = [labelled("Counted in", counted), labelled("Each", each, "s")];
  let isFree = true;
  /** @param {Task | undefined} tool */
  const suit = (tool) => {
    isFree = tool !== undefined && tool.kind !== "charging" && tool.kind !== "trace";
    show(inWhat, isFree);
    show(howLong, isFree && counted.value === "times");
    const isCharged = tool !== undefined && tool.kind === "charging";
    say(/** @type {Element} */ (much.firstChild), isCharged ? "How many charges" : "How much");
  };
  counted.addEventListener("change", () => show(howLong, isFree && counted.value === "times"));
  return {
    fields: [much, inWhat, howLong],
    suit,
    /** @param {Task} tool */
    typed: (tool) => amountTyped(tool, counted.value, amount.value, each.value),
  };
}

/**
 * The tools whose name, heading or words hold what was typed.
 * @param {Kit} kit
 * @param {string} typed
 * @returns {Task[]}
 */
function toolsLike({ data }, typed) {
  const words = typed
    .toLowerCase()
    .split(/[\s-]+/)
    .filter(Boolean);
  return data.tools.filter((/** @type {any} */ tool) => {
    const text = `${tool.tool} ${tool.name} ${tool.group || ""}`.toLowerCase();
    return words.every((word) => text.includes(word));
  });
}

/** @param {Task} tool */
function toolWords(tool) {
  const watts = tool.working_w ?? tool.on_w ?? tool.power_w;
  return `${tool.name}${watts == null ? "" : `, ${brief(watts)} W`}`;
}

/**
 * The amount of a tool as the plan's keys; null where it is no number.
 * @param {Task} tool
 * @param {string} counted
 * @param {string} amount
 * @param {string} each
 * @returns {{[key: string]: number} | null}
 */
function amountTyped(tool, counted, amount, each) {
  const [value, eachS] = [numberIn(amount), numberIn(each)];
  if (value === null) return null;
  if (tool.kind === "charging") return { charges: value };
  if (tool.kind === "trace") return { times: value };
  if (counted === "minutes") return { minutes: value };
  return eachS === null ? null : { times: value, each_s: eachS };
}

/**
 * Count how many more of a tool fit, too.
 * @param {View} view
 * @param {string} tool
 */
function countToo(view, tool) {
  view.picked = tool;
  view.parts.find(({ element }) => element.classList.contains("fits"))?.update();
}

/**
 * How many more of each tool fit, worked out one by one while the page is idle.
 * @param {View} view
 * @returns {Part}
 */
function fitsPart(view) {
  const none = make("p", {}, "Nothing more: the plan itself misses its goal.");
  const list = make("ul", {});
  const element = make(
    "div",
    { class: "live card fits" },
    make("h2", {}, "What still fits today"),
    none,
    list,
  );
  let turn = 0;
  return {
    element,
    update() {
      turn += 1;
      const mine = turn;
      const misses = !view.answer.outcomes.every(({ success }) =>
        reached(success, view.kit.data.goal_percent),
      );
      show(none, misses);
      show(list, !misses);
      const tools = misses ? [] : toolsToCount(view);
      const items = keepItems(
        list,
        tools.map(({ name }) => name),
        fitItem,
      );
      /** @param {number} k */
      const next = (k) => {
        if (mine !== turn || k >= tools.length) return;
        const more = howManyMore(view.kit, view.asked, tools[k], view.now().atS);
        say(items[k].children[1], fitWords(more));
        items[k].classList.remove("stale");
        whenIdle(() => next(k + 1));
      };
      for (const item of items) item.classList.add("stale");
      setTimeout(() => whenIdle(() => next(0)), FITS_AFTER_MS);
    },
  };
}

/** @param {string} name */
function fitItem(name) {
  return make("li", {}, make("span", { dir: "auto" }, name), make("span", { class: "count" }));
}

/**
 * The tools of the plan and the one just picked, each once.
 * @param {View} view
 * @returns {Task[]}
 */
function toolsToCount({ kit, asked, picked }) {
  /** @type {Map<string, Task>} */
  const tools = new Map();
  for (const task of asked.tasks) {
    if (isCounted(task) && !tools.has(task.tool || task.name))
      tools.set(task.tool || task.name, task);
  }
  const extra = picked ? toolOf(kit, picked) : undefined;
  if (extra && !tools.has(picked || "")) tools.set(picked || "", extra);
  return [...tools.values()];
}

/** @param {HowMany} more */
function fitWords({ count, unit, why }) {
  if (count === 0) return `none${why ? `: ${why}` : ""}`;
  if (unit === "minutes") return `${count} min more`;
  if (unit === "charges") return `${count} charge${count > 1 ? "s" : ""} more`;
  return `${count} more`;
}

/** @param {() => void} work */
function whenIdle(work) {
  if (typeof requestIdleCallback === "function") requestIdleCallback(work, { timeout: 1000 });
  else setTimeout(work, 30);
}

/**
 * The sky for the rest of the day.
 * @param {View} view
 * @returns {Part}
 */
function skyPart(view) {
  const choices = [
    ["", "as foreseen"],
    ...Object.keys(view.kit.data.skies || {}).map((name) => [name, SKY_WORDS[name]]),
  ];
  const radios = choices.map(([value, text]) => {
    const radio = /** @type {HTMLInputElement} */ (
      make("input", {
        type: "radio",
        name: "sky",
        value,
        on: { change: () => view.act({ kind: "sky", atS: view.now().atS, name: value || null }) },
      })
    );
    return { radio, label: make("label", { class: "pill" }, radio, make("span", {}, text)) };
  });
  const element = make(
    "div",
    { class: "live card" },
    make(
      "fieldset",
      {},
      make("legend", {}, make("h2", {}, "Sky for the rest of today")),
      make("div", { class: "pills" }, ...radios.map(({ label }) => label)),
    ),
  );
  show(element, radios.length > 1);
  return {
    element,
    update() {
      const { sky } = view.asked;
      for (const { radio } of radios) radio.checked = radio.value === (sky ? sky.name : "");
    },
  };
}

/**
 * When to look at the display, and what it should read.
 * @param {View} view
 * @returns {Part}
 */
function checkpointsPart(view) {
  const rows = make("tbody");
  const table = tableOf(["", "expect", "dull day", "turn back below"], rows);
  const element = box("live card", make("h2", {}, "When to look at the display"), table);
  return {
    element,
    update: () => {},
    later() {
      rows.replaceChildren(...view.points.map((point) => checkpointRow(view.kit, point)));
      show(element, view.points.length > 0);
    },
  };
}

/**
 * @param {Kit} kit
 * @param {Checkpoint} point
 */
function checkpointRow(kit, { atS, expectedPercent, dullPercent, leastPercent: least, lowest }) {
  const turnBack = least === null ? "–" : least === 0 ? "any" : `${least} %`;
  const at = [shortClock(kit, atS), lowest && make("span", { class: "quiet" }, " lowest")];
  return tableRow(at, [`${fixed(expectedPercent, 0)} %`, `${fixed(dullPercent, 0)} %`, turnBack]);
}
