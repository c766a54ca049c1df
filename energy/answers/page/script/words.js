"use strict";

// The answer in words: the same sentences as answers/check/words.py and simulation/overloads.py.
// Moments are said on the plan's own clock.

/** @type {Record<string, string>} */
const VERDICTS = {
  "stays-powered": "stays powered",
  "dips-into-reserve": "dips into the reserve",
  "runs-flat": "runs flat",
  overloads: "overloads",
};
const OUTLETS = { ac: "the mains outlets", dc12: "the 12 V outlets", usb: "the USB outlets" };
const MOST_NAMED = 2; // of the tasks that run then

/**
 * A number with so many digits, exact halves to the even one.
 * @param {number} value
 * @param {number} digits
 */
function fixed(value, digits) {
  const text = value.toFixed(digits);
  const isHalf = (value * 2 ** (digits + 1)) % 1 === 0 && (value * 10 ** digits) % 1 !== 0;
  if (!isHalf || Number(text[text.length - 1]) % 2 === 0) return text;
  return (value - Math.sign(value) * 0.5 * 10 ** -digits).toFixed(digits);
}

/**
 * Some words as a list in a sentence.
 * @param {string[]} words
 */
function andList(words) {
  if (words.length < 2) return words.join("");
  return `${words.slice(0, -1).join(", ")} and ${words[words.length - 1]}`;
}

// --- moments ------------------------------------------------------------------------------------

/**
 * A moment, with its date where the span has several.
 * @param {Kit} kit
 * @param {number} timeS
 */
function clockText(kit, timeS) {
  const { weekday, day, month } = localFields(kit, timeS);
  const date = kit.firstDay === kit.lastDay ? "" : `${weekday} ${day} ${month} `;
  return `${date}${hourMinute(kit, timeS)}`;
}

/**
 * The clock of a moment, with its offset from UTC in an hour that the clock shows twice.
 * @param {Kit} kit
 * @param {number} timeS
 */
function hourMinute(kit, timeS) {
  const face = clockFace(kit, timeS);
  const offsetS = toLocal(kit, timeS) - timeS;
  const isTwice = kit.data.zone.offsets.some(([changesS, afterS], k, offsets) => {
    const backS = k > 0 ? offsets[k - 1][1] - afterS : 0;
    return timeS >= changesS - backS && timeS < changesS + backS;
  });
  return isTwice ? `${face}${offsetS < 0 ? "-" : "+"}${timeOfDay(Math.abs(offsetS) / 60)}` : face;
}

/**
 * What the clock shows at a moment.
 * @param {Kit} kit
 * @param {number} timeS
 */
function clockFace(kit, timeS) {
  const { hour, minute } = localFields(kit, timeS);
  return `${String(hour).padStart(2, "0")}:${String(minute).padStart(2, "0")}`;
}

/**
 * A moment inside a sentence.
 * @param {Kit} kit
 * @param {number} timeS
 */
function atClock(kit, timeS) {
  const words = clockText(kit, timeS).split(" ");
  const time = words.pop();
  return words.length > 0 ? `on ${words.join(" ")} at ${time}` : `at ${time}`;
}

/**
 * A moment in as few words as tell the day.
 * @param {Kit} kit
 * @param {number} timeS
 */
function shortClock(kit, timeS) {
  const { weekday, day, month } = localFields(kit, timeS);
  const days = kit.lastDay - kit.firstDay;
  if (days === 0) return hourMinute(kit, timeS);
  return `${days < 7 ? weekday : `${day} ${month}`} ${hourMinute(kit, timeS)}`;
}

// --- why a task does not run --------------------------------------------------------------------

/**
 * The limit that a task breaks, with the numbers; others: what else asks then.
 * @param {"ac" | "dc12" | "usb"} supply
 * @param {number} startW
 * @param {Pick<Overload, "limit" | "asked" | "allowed">[]} turnedAway not empty
 * @param {number} bursts of how many
 * @param {string} others
 */
function whyRefused(supply, startW, turnedAway, bursts, others) {
  const why = brokenLimit(supply, startW, turnedAway[0], others);
  return turnedAway.length < bursts ? `${turnedAway.length} of ${bursts} times: ${why}` : why;
}

/**
 * @param {"ac" | "dc12" | "usb"} supply
 * @param {number} startW
 * @param {Pick<Overload, "limit" | "asked" | "allowed">} overload
 * @param {string} others
 */
function brokenLimit(supply, startW, { limit, asked: askedW, allowed: allowedW }, others) {
  const [beside, also] = others === "" ? ["", ""] : [`with ${others} `, ` and ${others}`];
  const digits = Number(fixed(askedW, 0)) > Number(fixed(allowedW, 0)) ? 0 : 1;
  const [asked, allowed] = [`${fixed(askedW, digits)} W`, `${fixed(allowedW, digits)} W`];
  switch (limit) {
    case "no-inverter":
      return "needs a mains outlet, and the pack has no inverter";
    case "inverter-off":
      return "the inverter is off then";
    case "inverter":
      return `${beside}${others && "it "}asks ${fixed(askedW, 0)} VA of the inverter, rated ${allowed}`;
    case "surge":
      return askedW <= startW * (1.0 + 1e-9)
        ? `starts at ${asked}, the inverter surges to ${allowed}`
        : `its start and ${others || "what else runs"} make ${asked}, the inverter surges to ${allowed}`;
    case "surge-time":
      return `its start lasts ${brief(askedW)} s, the inverter surges for ${brief(allowedW)} s`;
    case "discharge":
      return `with losses${also} ${asked} are asked of the pack, it gives ${allowed}`;
    case "battery":
      return `with losses${also} ${asked} are asked of the battery, which can give ${allowed}`;
    default:
      return `${beside}${asked} are asked of ${OUTLETS[supply]}, which give ${allowed}`;
  }
}

/**
 * Why something of a task is turned away: beside what runs, or whatever runs.
 * @param {Kit} kit
 * @param {Asked} asked
 * @param {LaidOut} laid
 * @param {number} k
 */
function whyTurnedAway(kit, { tasks }, laid, k) {
  const { supply, start_w } = tasks[k];
  const own = laid.placed.bursts.filter((burst) => burst.task === k);
  const alone = overloads(laid.cases[0].edges, own, tasks, [k], kit.limits, new Set());
  if (alone.length === own.length && alone[0].limit !== "inverter-off") {
    const why = whyRefused(supply, start_w, alone, own.length, "");
    return `${why}: it can never run on this pack`;
  }
  const turnedAway = laid.overloads.filter(({ burst }) => burst.task === k);
  const others = runningWith(tasks, laid.bursts, turnedAway[0]);
  return whyRefused(supply, start_w, turnedAway, own.length, others);
}

/**
 * The other tasks that a burst met when most was asked of its limit, in words.
 * @param {Task[]} tasks
 * @param {Burst[]} running
 * @param {Overload} overload
 */
function runningWith(tasks, running, { burst: refused, limit, atS }) {
  const order = ranked(tasks);
  const first = new Set(order.slice(0, order.indexOf(refused.task)));
  const shared = limit === "discharge" || limit === "battery";
  const others = running.filter(
    ({ task, pieces }) =>
      first.has(task) &&
      (shared || tasks[task].supply === tasks[refused.task].supply) &&
      pieces.some(({ startS, endS }) => startS <= atS && atS < endS),
  );
  const numbers = [...new Set(others.map(({ task }) => task))].sort((a, b) => a - b);
  const names = numbers.map((task) => `"${tasks[task].name}"`);
  const more = names.length - MOST_NAMED;
  return andList(more > 0 ? [...names.slice(0, MOST_NAMED), `${more} more`] : names);
}

/**
 * Why a task goes short of energy from a moment on.
 * @param {Kit} kit
 * @param {number} unmetS
 * @param {boolean} isTooCold
 */
function whyUnmet(kit, unmetS, isTooCold) {
  const at = clockText(kit, unmetS);
  const limitC = kit.data.battery.discharge_min_c;
  if (!isTooCold || limitC === null) return `pack flat from ${at}`;
  return `pack too cold to give at ${at} (below ${brief(limitC)} degrees C)`;
}

/**
 * Why nothing of a task comes.
 * @param {Kit} kit
 * @param {number | null} nowS
 */
function whyAbsent(kit, nowS) {
  if (nowS === null) return "nothing of it lies inside the span";
  return `nothing of it comes after ${clockText(kit, nowS)}`;
}

// --- what decides -------------------------------------------------------------------------------

/**
 * A verdict in words; a pack that is too cold to give is not called flat.
 * @param {string} verdict
 * @param {boolean} isTooCold
 */
function verdictWords(verdict, isTooCold) {
  return isTooCold && verdict !== "overloads" ? "gets too cold to give" : VERDICTS[verdict];
}

/**
 * What decides the answer, with its numbers.
 * @param {Answer} answer
 */
function whatDecides(answer) {
  const { kit, count, middle, verdict } = answer;
  const [foreseen] = answer.outcomes;
  if (answer.answer === "almost") return almostWords(answer) + mustWords(answer);
  if (answer.overloads.length > 0) return turnedAwayWords(answer);
  if (count === 1) {
    const isTooCold = foreseen.tooCold[middle] === 1;
    return `It ${verdictWords(verdict, isTooCold)}${whenWords(answer)}`;
  }
  if (answer.answer === "yes") {
    return `Works in ${worksIn(answer)}; the goal is ${fixed(kit.data.goal_percent, 0)} %`;
  }
  return stopsWords(answer) + mustWords(answer);
}

/**
 * In how many weathers something stops, where the answer is no.
 * @param {Answer} answer
 */
function stopsWords(answer) {
  const { outcome, where } = decidingOutcome(answer, ({ powered }) => powered);
  const { powered, success } = outcome;
  const uses = powered.filter((one, s) => one === 1 && success[s] === 0).length;
  const more = uses > 0 ? `, ${uses} more use the reserve` : "";
  const stops = `${powered.length - countOf(powered)} of ${powered.length} weathers${where}`;
  const allows = `; the goal allows ${mayFailOf(answer, outcome)}`;
  return `Something stops in ${stops}${more}${allows}${stopsFirst(answer, outcome)}`;
}

/**
 * When something first stops in the middle weather; empty where nothing does.
 * @param {Answer} answer
 */
function whenWords({ kit, outcomes: [{ simulated }], middle }) {
  const firstS = Math.min(...simulated.firstUnmetS.map((own) => own[middle]));
  return firstS < Infinity ? ` ${atClock(kit, firstS)}` : "";
}

/**
 * In how many of the weathers that decide it works.
 * @param {Answer} answer
 */
function worksIn(answer) {
  const { outcome, where } = decidingOutcome(answer, ({ success }) => success);
  return `${countOf(outcome.success)} of ${outcome.success.length} weathers${where}`;
}

/**
 * Which task a limit turns away, and why.
 * @param {Answer} answer
 */
function turnedAwayWords({ asked, tasks, overloads: refused, bursts: running, outcomes, middle }) {
  const [{ task: k }] = refused;
  const [{ simulated, tooCold: cold }] = outcomes;
  const always = running.some((burst) => burst.task === k) ? "always " : "";
  let words = `"${asked.tasks[k].name}" cannot ${always}run: ${tasks[k].whyNot}`;
  if (simulated.firstShortS[middle] < Infinity) {
    words += `; and the pack ${verdictWords("runs-flat", cold[middle] === 1)}`;
  }
  const more = refused.length - 1;
  return more > 0 ? `${words}; ${more} more cannot` : words;
}

/**
 * The task that mostly stops first where something stops, and about when.
 * @param {Answer} answer
 * @param {Outcome} outcome
 */
function stopsFirst({ kit, asked }, { simulated, powered, tooCold: cold }) {
  const stopping = [...powered.keys()].filter((s) => powered[s] === 0);
  const whenS = asked.tasks.map(() => /** @type {number[]} */ ([]));
  for (const s of stopping) {
    const firstS = simulated.firstUnmetS.map((own) => own[s]);
    const soonestS = Math.min(...firstS);
    if (soonestS < Infinity) whenS[firstS.indexOf(soonestS)].push(soonestS);
  }
  const most = Math.max(...whenS.map((moments) => moments.length));
  if (!(most > 0)) return "";
  const k = whenS.findIndex((moments) => moments.length === most);
  const about = clockText(kit, percentile(Float64Array.from(whenS[k]), 50.0));
  const isCold = stopping.filter((s) => cold[s] === 1).length > stopping.length / 2;
  const why = isCold ? " (too cold to give)" : "";
  return `. Mostly "${asked.tasks[k].name}", from about ${about}${why}`;
}

/**
 * In how many weathers all holds that must run; empty where nothing must, or nothing fails.
 * @param {Answer} answer
 */
function mustWords({ asked, count, outcomes: [{ unmetWh }] }) {
  const must = unmetWh.filter((_, k) => asked.tasks[k].must);
  if (must.length === 0 || count === 1) return "";
  const holds = Array.from({ length: count }, (_, s) => must.every((own) => own[s] <= 1e-9));
  const held = holds.filter(Boolean).length;
  return held === count ? "" : `. Must-run tasks hold in ${held} of ${count}`;
}

/**
 * That nothing stops, and in how many of the weathers that decide the reserve is used.
 * @param {Answer} answer
 */
function almostWords(answer) {
  const { outcome, where } = decidingOutcome(answer, ({ success }) => success);
  const { powered, success } = outcome;
  const cold = outcome.tooCold.filter((one, s) => one === 1 && powered[s] === 1).length;
  const [tried, works] = [powered.length, countOf(powered)];
  const uses = works - countOf(success) - cold;
  if (tried === 1) {
    const but = cold > 0 ? "the pack gets too cold to give" : "it uses the reserve";
    return `Nothing stops in the one weather tried, but ${but}`;
  }
  const share = works === tried ? `any of ${tried}` : `${works} of ${tried}`;
  const buts = uses > 0 ? [`${uses} use the reserve`] : [];
  if (cold > 0) buts.push(`in ${cold} the pack gets too cold to give`);
  const fail = works === tried ? "" : `: ${tried - countOf(success)} fail`;
  const words = `Nothing stops in ${share} weathers${where}, but ${andList(buts)}${fail}`;
  return `${words}; the goal allows ${mayFailOf(answer, outcome)}`;
}

/**
 * The weathers in which what must hold falls furthest short of the goal, and where they are.
 * @param {Answer} answer
 * @param {(outcome: Outcome) => Uint8Array} holds
 */
function decidingOutcome(answer, holds) {
  /** @param {Outcome} outcome */
  const margin = (outcome) =>
    countOf(holds(outcome)) + mayFailOf(answer, outcome) - holds(outcome).length;
  const [foreseen, ...others] = answer.outcomes;
  const outcome = others.reduce((a, b) => (margin(b) < margin(a) ? b : a), foreseen);
  return { outcome, where: outcome === foreseen ? "" : " in a dull corner of the region" };
}

/**
 * In how many weathers the plan may fail and still reach its goal.
 * @param {Answer} answer
 * @param {Outcome} outcome
 */
function mayFailOf({ kit }, { success }) {
  return success.length - needed(kit.data.goal_percent, success.length);
}
