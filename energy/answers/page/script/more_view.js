"use strict";

// What may be added, what still fits, under which sky, and when to look at the display.

/** @type {{[name: string]: string}} */
const SKY_WORDS = {
  clear: "clear", few: "few clouds", scattered: "half clouded", broken: "broken", overcast: "overcast",
};
const FITS_AFTER_MS = 400;

/**
 * A task from the tools that the page carries.
 * @param {View} view
 * @returns {Part}
 */
function addPart(view) {
  const search = make("input", { type: "search", autocomplete: "off" });
  const tool = chooser([]);
  const matches = make("p", { class: "quiet", role: "status" });
  const [amount, each] = [numberField({ value: "1" }), numberField({ value: "60" })];
  const counted = chooser([["minutes", "minutes"], ["times", "times"]]);
  const time = /** @type {HTMLInputElement} */ (make("input", { type: "time", required: true }));
  const fields = {
    counted: labelled("Counted in", counted), each: labelled("Each", each, "s"),
    amount: labelled("How much", amount),
  };
  const refresh = () => showAmount(toolOf(view.kit, tool.value), counted, fields);
  const find = () => {
    const tools = toolsLike(view.kit, /** @type {HTMLInputElement} */ (search).value);
    const before = tool.value;
    tool.replaceChildren(...tools.map((each_) => make("option", { value: each_.tool }, toolWords(each_))));
    if (tools.some((each_) => each_.tool === before)) tool.value = before;
    say(matches, tools.length ? `${tools.length} tool${tools.length > 1 ? "s" : ""}` : "no tool of that name");
    refresh();
  };
  const submit = (/** @type {Event} */ event) => {
    event.preventDefault();
    const picked = toolOf(view.kit, tool.value);
    const asked = picked && amountTyped(picked, counted.value, amount.value, each.value);
    const minute = minutesIn(time.value);
    if (!asked) return view.tell("enter how much of it, as a number", true);
    if (minute === null) return view.tell("enter the time at which it begins, such as 13:30", true);
    view.act({ kind: "add", atS: view.now().atS, tool: tool.value, amount: asked, minute });
  };
  search.addEventListener("input", find);
  tool.addEventListener("change", () => { refresh(); pickedTool(view, tool.value); });
  counted.addEventListener("change", refresh);
  const element = make(
    "div", { class: "live card" },
    make("details", {},
      make("summary", {}, make("h2", {}, "Add a task")),
      make("form", { class: "controls", novalidate: true, on: { submit } },
        labelled("Search the tools", search), labelled("Tool", tool), matches,
        fields.amount, fields.counted, fields.each, labelled("Begins today at", time),
        make("button", { type: "submit", class: "main" }, "Add"))),
  );
  find();
  time.value = hourMinute(view.kit, Math.ceil(view.now().atS / 300) * 300);
  return { element, update: () => {} };
}

/**
 * The tools whose name, heading or words hold what was typed.
 * @param {Kit} kit
 * @param {string} typed
 * @returns {Task[]}
 */
function toolsLike({ data }, typed) {
  const words = typed.toLowerCase().split(/[\s-]+/).filter(Boolean);
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
 * The fields that a tool's amount is typed into.
 * @param {Task | undefined} tool
 * @param {HTMLSelectElement} counted
 * @param {{counted: HTMLElement, each: HTMLElement, amount: HTMLElement}} fields
 */
function showAmount(tool, counted, fields) {
  const isFree = tool !== undefined && tool.kind !== "charging" && tool.kind !== "trace";
  show(fields.counted, isFree);
  show(fields.each, isFree && counted.value === "times");
  const label = fields.amount.querySelector("label");
  if (label) say(label, tool && tool.kind === "charging" ? "How many charges" : "How much");
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

/** @param {View} view @param {string} tool */
function pickedTool(view, tool) {
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
    "div", { class: "live card fits" }, make("h2", {}, "What still fits today"), none, list,
  );
  let turn = 0;
  return {
    element,
    update() {
      turn += 1;
      const mine = turn;
      const misses = !view.answer.outcomes.every(({ success }) => reached(success, view.kit.data.goal_percent));
      show(none, misses);
      show(list, !misses);
      const tools = misses ? [] : toolsToCount(view);
      const items = keepItems(list, tools.map(({ name }) => name), fitItem);
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
    if (isCounted(task) && !tools.has(task.tool || task.name)) tools.set(task.tool || task.name, task);
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
  const choices = [["", "as foreseen"], ...Object.keys(view.kit.data.skies || {}).map((name) => [name, SKY_WORDS[name]])];
  const radios = choices.map(([value, text]) => {
    const radio = /** @type {HTMLInputElement} */ (make("input", {
      type: "radio", name: "sky", value,
      on: { change: () => view.act({ kind: "sky", atS: view.now().atS, name: value || null }) },
    }));
    return { radio, label: make("label", { class: "pill" }, radio, make("span", {}, text)) };
  });
  const element = make(
    "div", { class: "live card" },
    make("fieldset", {},
      make("legend", {}, make("h2", {}, "Sky for the rest of today")),
      make("div", { class: "pills" }, ...radios.map(({ label }) => label))),
  );
  show(element, radios.length > 1);
  return {
    element,
    update() {
      const { sky } = view.kept.state;
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
  const heads = ["", "expect", "dull day", "turn back below"].map((text) => make(text ? "th" : "td", text ? { scope: "col" } : {}, text));
  const element = make(
    "div", { class: "live card" }, make("h2", {}, "When to look at the display"),
    make("div", { class: "wide" }, make("table", {}, make("thead", {}, make("tr", {}, ...heads)), rows)),
  );
  return {
    element,
    update: () => {},
    later() {
      const { points } = view;
      rows.replaceChildren(...points.map((point) => checkpointRow(view.kit, point)));
      show(element, points.length > 0);
    },
  };
}

/**
 * @param {Kit} kit
 * @param {Checkpoint} point
 */
function checkpointRow(kit, { atS, expectedPercent, dullPercent, leastPercent: least, lowest }) {
  const turnBack = least === null ? "–" : least === 0 ? "any" : `${least} %`;
  const cells = [`${fixed(expectedPercent, 0)} %`, `${fixed(dullPercent, 0)} %`, turnBack];
  return make(
    "tr", {},
    make("th", { scope: "row" }, shortClock(kit, atS), lowest && make("span", { class: "quiet" }, " lowest")),
    ...cells.map((text) => make("td", {}, text)),
  );
}
