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
  const box = make("p", { class: "answer" }, mark, make("span", {}, word, " ", why));
  const element = make("div", { class: "live" }, box, under);
  return {
    element,
    update() {
      const { answer } = view.answer;
      box.className = `answer ${answer}`;
      say(mark, ANSWERS[answer].mark);
      say(word, ANSWERS[answer].word);
      say(why, `${whatDecides(view.answer)}.`);
      const { sky, reading } = view.kept.state;
      const { data } = view.kit;
      const full = !reading && data.full.futures > view.answer.count && view.kept.state.log.length === 0;
      const lines = [
        full && `In all ${data.full.futures} weathers: ${ANSWERS[data.full.answer].word}. ${data.full.text}`,
        reading && readWords(view.kit, view.kept.state.log),
        view.asked.sky && sky && underSky(view.kit, sky),
      ];
      say(under, lines.filter(Boolean).join(" "));
      show(under, under.textContent !== "");
    },
  };
}

/**
 * How the last reading lies to what was expected then.
 * @param {Kit} kit
 * @param {Entry[]} log
 */
function readWords(kit, log) {
  const last = log.filter(({ kind }) => kind === "read").pop();
  if (!last || last.expected == null || last.percent == null) return "";
  const { atS, percent, expected } = last;
  const gap = Math.round(percent - expected);
  const way = gap < 0 ? "behind" : "ahead of";
  return (
    `At ${hourMinute(kit, atS)} you read ${brief(percent)} %, ${fixed(expected, 0)} % were expected: ` +
    `${Math.abs(gap)} points ${way} the plan.`
  );
}

/**
 * What an answer under a sky is worth.
 * @param {Kit} kit
 * @param {SkyChoice} sky
 */
function underSky(kit, { name, fromS }) {
  const words = name === "few" ? "With few clouds" : `Under ${name === "overcast" ? "an" : "a"} ${SKY_WORDS[name]} sky`;
  const when = `from ${hourMinute(kit, fromS)} to midnight`;
  return `${words} ${when}: what happens under that sky, not a chance.`;
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
      "dl",
      { class: "tiles" },
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
  const by = byHandS === 0 ? "" : " (by the time set by hand)";
  if (now.where === "before")
    return `The plan begins ${clockText(kit, now.atS)}${by}: its start is shown`;
  if (now.where === "after")
    return `The plan ended ${clockText(kit, now.atS)}${by}: its end is shown`;
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
  const day = chooser(everyDay(kit).map((number) => dayChoice(kit, kit.firstDay + number - 1)));
  const time = /** @type {HTMLInputElement} */ (make("input", { type: "time" }));
  const opener = pressable("Set time", () => toggle(element.hidden), { class: "plain" });
  const back = pressable("Use this device's clock", () => set(0));
  const take = () => {
    const minutes = minutesIn(time.value);
    if (minutes === null) return view.tell("enter the time, such as 13:20", true);
    set(toUtc(kit, Number(day.value) * DAY_S + 60 * minutes) - Date.now() / 1000);
  };
  const element = formOf(
    { class: "controls" },
    take,
    day.length > 1 && labelled("Day", day),
    labelled("Time at the plan's place", time),
    mainButton("Take this as now"),
    back,
  );
  /** @param {boolean} isOpen */
  const toggle = (isOpen) => {
    show(element, isOpen);
    opener.setAttribute("aria-expanded", String(isOpen));
    const { atS } = view.now();
    day.value = String(Math.min(dayOf(kit, atS), kit.lastDay));
    time.value = clockFace(kit, atS);
    if (isOpen) time.focus();
  };
  /** @param {number} byHandS */
  const set = (byHandS) => {
    view.byHandS = byHandS;
    view.keeper.keepClock(byHandS);
    showAnew(view);
    toggle(false);
    opener.focus();
  };
  toggle(false);
  return { element, opener, update: () => show(back, view.byHandS !== 0) };
}

/**
 * A date as a choice among several.
 * @param {Kit} kit
 * @param {number} day
 * @returns {[string, string]}
 */
function dayChoice(kit, day) {
  const { weekday, day: date, month } = localFields(kit, toUtc(kit, day * DAY_S + DAY_S / 2));
  return [String(day), `${weekday} ${date} ${month}`];
}

/**
 * The curve, what its lines are, and its table.
 * @param {View} view
 * @returns {Part}
 */
function curvePart(view) {
  const picture = draw("svg", { class: "curve", role: "img" });
  const rows = make("tbody");
  const table = opening("The curve as a table", tableOf(["Time", "Middling", "Dull day"], rows));
  const part = {
    element: box("live", picture, curveKey(), table),
    update() {
      const read = view.kept.state.log.filter(({ kind }) => kind === "read");
      drawCurve(picture, view.kit, view.answer, view.points, read, view.now().atS);
      const lines = curveRows(view.kit, view.answer);
      rows.replaceChildren(...lines.map(([time, ...values]) => tableRow([time], values)));
    },
    later: () => part.update(),
  };
  return part;
}

/** What the lines of the curve are. */
function curveKey() {
  const lines = [
    ["middling", "middling day"],
    ["dull", "dull day"],
    ["reserve", "reserve"],
    ["turn-back", "turn back"],
  ];
  return make(
    "p",
    { class: "key", "aria-hidden": "true" },
    ...lines.map(([name, text]) =>
      make(
        "span",
        {},
        draw(
          "svg",
          { width: 26, height: 8 },
          draw("line", { class: name, x1: 0, x2: 26, y1: 4, y2: 4 }),
        ),
        text,
      ),
    ),
  );
}

/**
 * What the battery reads: a number and one button; watts and sky beside it.
 * @param {View} view
 * @returns {Part}
 */
function readingPart(view) {
  const percent = numberField({ enterkeyhint: "done" });
  const [solar, load] = [numberField(), numberField()];
  const sky = chooser([["", "not said"], ...READ_SKIES.map(skyChoice)]);
  const problem = make("p", { class: "problem", role: "alert", hidden: true });
  const last = make("p", { class: "quiet" });
  const enter = () => {
    const typed = [parsePercent(percent.value), parseWatts(solar.value), parseWatts(load.value)];
    const wrong = typed.findIndex((one) => one.problem !== null);
    show(problem, wrong >= 0);
    if (wrong >= 0) {
      say(problem, typed[wrong].problem || "");
      [percent, solar, load][wrong].focus();
      return;
    }
    const values = typed.map(({ value }) => value);
    if (!takeReading(view, values, sky.value || null)) return;
    for (const field of [percent, solar, load, sky]) field.value = "";
  };
  const form = formOf(
    { class: "reading" },
    enter,
    box("controls", labelled("The battery reads", percent, "%"), mainButton("Enter")),
    problem,
    watchedToo(solar, load, sky),
  );
  return {
    element: box("live card", form, last),
    update() {
      const { reading } = view.kept.state;
      const from =
        reading && `${brief(reading.percent)} % read at ${shortClock(view.kit, reading.atS)}`;
      say(last, from ? `The answer counts from ${from}.` : BEFORE_A_READING);
    },
  };
}

const BEFORE_A_READING =
  "Until you enter a reading, the answer is that of the whole plan from its start.";
const READ_SKIES = ["clear", "few", "scattered", "broken", "overcast"];

/**
 * A sky as a choice among several.
 * @param {string} name
 * @returns {[string, string]}
 */
function skyChoice(name) {
  return [name, SKY_WORDS[name]];
}

/**
 * What else the display and the sky show, for learning.
 * @param {HTMLElement} solar
 * @param {HTMLElement} load
 * @param {HTMLElement} sky
 */
function watchedToo(solar, load, sky) {
  const why = "For learning in the evening; the answer takes the percent alone.";
  return opening(
    "Sun, load and sky too",
    box(
      "controls",
      labelled("Sun", solar, "W"),
      labelled("Load", load, "W"),
      labelled("Sky since the last reading", sky),
    ),
    make("p", { class: "quiet" }, why),
  );
}

/**
 * @param {View} view
 * @param {(number | null)[]} typed  percent, watts of sun and of load
 * @param {string | null} sky
 */
function takeReading(view, [percent, solarW, loadW], sky) {
  const { clockS } = view.now();
  const expected = Math.round(10 * expectedAt(view.answer, clockS).middling) / 10;
  const seen = { percent: percent ?? NaN, solarW, loadW, sky, expected };
  return view.act({ kind: "read", atS: clockS, ...seen });
}
