"use strict";

// The first screen: the answer, what the display should read now, the curve, and the reading.

/**
 * The answer's word and what decides it.
 * @param {View} view
 * @returns {Part}
 */
function answerPart(view) {
  const mark = make("span", { class: "mark", "aria-hidden": "true" });
  const word = make("strong", { class: "word" });
  const why = make("span", { class: "why", dir: "auto" });
  const under = make("p", { class: "note" });
  const box = make(
    "p",
    { class: "answer" },
    mark, make("span", {}, word, " ", why),
  );
  const element = make("div", { class: "live" }, box, under);
  return {
    element,
    update() {
      const { answer } = view.answer;
      box.className = `answer ${answer}`;
      say(mark, ANSWERS[answer].mark);
      say(word, ANSWERS[answer].word);
      say(why, `${whatDecides(view.answer)}.`);
      const { sky } = view.kept.state;
      show(under, sky !== null);
      if (sky) say(under, `Under a ${SKY_WORDS[sky.name]} sky from ${hourMinute(view.kit, sky.fromS)} to midnight: what happens under that sky, not a chance.`);
    },
  };
}

/**
 * What the display should read now, and the reading to turn back at.
 * @param {View} view
 * @returns {Part}
 */
function nowPart(view) {
  const head = make("h2", { class: "clock" });
  const [expect, least] = [make("dd", { class: "number" }), make("dd", { class: "number" })];
  const [dull, then] = [make("dd", {}), make("dd", {})];
  const clock = clockForm(view);
  const element = make(
    "div",
    { class: "live" },
    make("div", { class: "row" }, head, clock.opener),
    clock.element,
    make(
      "dl", { class: "tiles" },
      make("div", {}, make("dt", {}, "The display should read"), expect, dull),
      make("div", {}, make("dt", {}, "Turn back below"), least, then),
    ),
  );
  return {
    element,
    update() {
      const now = view.now();
      say(head, nowWords(view.kit, now, view.byHandS));
      const { middling, dull: dullPercent } = expectedAt(view.answer, now.atS);
      say(expect, `${fixed(middling, 0)} %`);
      say(dull, `dull day: ${fixed(dullPercent, 0)} %`);
      clock.update();
    },
    later() {
      const atS = Math.max(view.now().atS, view.answer.edges[0]);
      const percent = leastPercent(view.kit, view.answer, atS);
      say(least, percent === null ? "–" : percent === 0 ? "any" : `${percent} %`);
      say(then, leastWords(view.kit, percent));
    },
  };
}

/**
 * What is special about a reading to turn back at.
 * @param {Kit} kit
 * @param {number | null} percent
 */
function leastWords({ data }, percent) {
  if (percent === null) return "a full pack would not do";
  if (percent === 0) return "an empty pack would do";
  return percent <= Math.ceil(data.reserve_percent) ? "the reserve" : "or miss the goal";
}

/**
 * What the page takes as now, in a line.
 * @param {Kit} kit
 * @param {Now} now
 * @param {number} byHandS
 */
function nowWords(kit, now, byHandS) {
  const at = shortClock(kit, now.atS);
  if (now.where === "before") return `The plan begins ${clockText(kit, now.atS)}: its start is shown`;
  if (now.where === "after") return `The plan ended ${clockText(kit, now.atS)}: its end is shown`;
  if (byHandS !== 0) return `Now ${at}, set by hand`;
  const deviceS = -60 * new Date(now.clockS * 1000).getTimezoneOffset();
  if (deviceS === toLocal(kit, now.clockS) - now.clockS) return `Now ${at}`;
  const place = kit.data.zone.name.split("/").pop() || "";
  return `Now ${at}, ${place.replace(/_/g, " ")} time`;
}

/**
 * The time set by hand: a button that opens a form.
 * @param {View} view
 */
function clockForm(view) {
  const { kit } = view;
  const dates = everyDay(kit).map((number) => {
    const day = kit.firstDay + number - 1;
    const { weekday, day: date, month } = localFields(kit, toUtc(kit, day * DAY_S + DAY_S / 2));
    return /** @type {[string, string]} */ ([String(day), `${weekday} ${date} ${month}`]);
  });
  const day = chooser(dates);
  const time = /** @type {HTMLInputElement} */ (make("input", { type: "time", required: true }));
  const opener = pressable("Set time", () => toggle(element.hidden), { "aria-expanded": "false", class: "plain" });
  const back = pressable("Use this device's clock", () => set(0));
  const element = make(
    "form",
    {
      class: "controls", hidden: true,
      on: {
        submit(/** @type {Event} */ event) {
          event.preventDefault();
          const minutes = minutesIn(time.value);
          if (minutes === null) return view.tell("enter the time, such as 13:20", true);
          set(toUtc(kit, Number(day.value) * DAY_S + 60 * minutes) - Date.now() / 1000);
        },
      },
    },
    dates.length > 1 && labelled("Day", day), labelled("Time at the plan's place", time),
    make("button", { type: "submit", class: "main" }, "Take this as now"), back,
  );
  /** @param {boolean} isOpen */
  const toggle = (isOpen) => {
    show(element, isOpen);
    opener.setAttribute("aria-expanded", String(isOpen));
    if (!isOpen) return;
    const { atS } = view.now();
    day.value = String(Math.min(dayOf(kit, atS), kit.lastDay));
    time.value = hourMinute(kit, atS);
    time.focus();
  };
  /** @param {number} byHandS */
  const set = (byHandS) => {
    view.byHandS = byHandS;
    view.keeper.keepClock(byHandS);
    showAnew(view);
    toggle(false);
    opener.focus();
  };
  return { element, opener, update: () => show(back, view.byHandS !== 0) };
}

/**
 * The curve, what its lines are, and its table.
 * @param {View} view
 * @returns {Part}
 */
function curvePart(view) {
  const picture = draw("svg", { class: "curve", role: "img" });
  const rows = make("tbody");
  const heads = ["Time", "Middling", "Dull day"].map((text) => make("th", { scope: "col" }, text));
  const table = make(
    "details", {},
    make("summary", {}, "The curve as a table"),
    make("div", { class: "wide" }, make("table", {}, make("thead", {}, make("tr", {}, ...heads)), rows)),
  );
  const element = make("div", { class: "live" }, picture, curveKey(), table);
  const part = {
    element,
    update() {
      const read = view.kept.state.log.filter(({ kind }) => kind === "read");
      drawCurve(picture, view.kit, view.answer, view.points, read, view.now().atS);
      rows.replaceChildren(
        ...curveRows(view.kit, view.answer).map(([time, ...percents]) =>
          make("tr", {}, make("th", { scope: "row" }, time), ...percents.map((text) => make("td", {}, text)))),
      );
    },
    later: () => part.update(),
  };
  return part;
}

/** What the lines of the curve are. */
function curveKey() {
  const lines = [
    ["middling", "middling day"], ["dull", "dull day"], ["reserve", "reserve"],
    ["turn-back", "turn back"],
  ];
  return make(
    "p", { class: "key", "aria-hidden": "true" },
    ...lines.map(([name, text]) =>
      make(
        "span", {},
        draw("svg", { width: 26, height: 8 }, draw("line", { class: name, x1: 0, x2: 26, y1: 4, y2: 4 })),
        text,
      )),
  );
}

/**
 * What the battery reads: a number and one button; watts and sky beside it.
 * @param {View} view
 * @returns {Part}
 */
function readingPart(view) {
  const percent = numberField({ enterkeyhint: "done", required: true });
  const [solar, load] = [numberField(), numberField()];
  const skies = /** @type {[string, string][]} */ ([
    ["", "not said"], ...["clear", "few", "scattered", "broken", "overcast"].map((name) => [name, SKY_WORDS[name]]),
  ]);
  const sky = chooser(skies);
  const problem = make("p", { class: "problem", role: "alert", hidden: true });
  const last = make("p", { class: "quiet" });
  const submit = (/** @type {Event} */ event) => {
    event.preventDefault();
    const typed = [parsePercent(percent.value), parseWatts(solar.value), parseWatts(load.value)];
    const wrong = typed.findIndex((one) => one.problem !== null);
    show(problem, wrong >= 0);
    if (wrong >= 0) {
      say(problem, typed[wrong].problem || "");
      [percent, solar, load][wrong].focus();
      return;
    }
    if (takeReading(view, typed.map(({ value }) => value), sky.value || null)) {
      for (const field of [percent, solar, load, sky]) field.value = "";
    }
  };
  const more = make(
    "details", {}, make("summary", {}, "Sun, load and sky too"),
    make("div", { class: "controls" }, labelled("Sun", solar, "W"), labelled("Load", load, "W"), labelled("Sky since the last reading", sky)),
    make("p", { class: "quiet" }, "For learning in the evening; the answer takes the percent alone."),
  );
  const element = make(
    "div", { class: "live card" },
    make(
      "form", { class: "reading", novalidate: true, on: { submit } },
      make("div", { class: "controls" }, labelled("The battery reads", percent, "%"), make("button", { type: "submit", class: "main" }, "Enter")),
      problem, more,
    ),
    last,
  );
  return {
    element,
    update() {
      const { reading } = view.kept.state;
      say(last, reading
        ? `The answer counts from ${brief(reading.percent)} % read at ${shortClock(view.kit, reading.atS)}.`
        : "Until you enter a reading, the answer is that of the whole plan from its start.");
    },
  };
}

/**
 * @param {View} view
 * @param {(number | null)[]} typed  percent, watts of sun and of load
 * @param {string | null} sky
 */
function takeReading(view, [percent, solarW, loadW], sky) {
  const { clockS } = view.now();
  const expected = Math.round(10 * expectedAt(view.answer, clockS).middling) / 10;
  return view.act({ kind: "read", atS: clockS, percent: percent ?? NaN, solarW, loadW, sky, expected });
}
