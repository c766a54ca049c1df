"use strict";

// The charge across the span: a drawing, and the same as a table.

/**
 * @typedef {{width: number, height: number, left: number, right: number, top: number,
 *   bottom: number}} Plot  pixels
 */

const MOST_CLOCKS_APART_PX = 76; // two clocks need so much room
const TABLE_ROWS = 12;
const CLOCK_STEPS_H = [1, 2, 3, 4, 6, 12, 24, 48, 72, 120, 240];

/**
 * The charge at a moment on a line of the answer, between its edges [percent].
 * @param {Float64Array} edges
 * @param {Float64Array} charge
 * @param {number} timeS
 */
function chargeOn(edges, charge, timeS) {
  const within = Math.min(Math.max(timeS, edges[0]), edges[edges.length - 1]);
  const k = Math.min(Math.max(edgeAt(edges, within), 1), edges.length - 1);
  const share = (within - edges[k - 1]) / (edges[k] - edges[k - 1]);
  return charge[k - 1] + share * (charge[k] - charge[k - 1]);
}

/**
 * What is expected at a moment, and on a dull day [percent].
 * @param {Answer} answer
 * @param {number} timeS
 */
function expectedAt({ edges, charge }, timeS) {
  const middling = chargeOn(edges, charge.middle, timeS);
  return { middling, dull: Math.min(chargeOn(edges, charge.dull, timeS), middling) };
}

/**
 * @param {number} width
 * @returns {Plot}
 */
function plotOf(width) {
  const height = Math.round(Math.min(Math.max(0.54 * width, 170), 300));
  return { width, height, left: 58, right: width - 6, top: 12, bottom: height - 30 };
}

/**
 * Draw the answer's charge over the whole span.
 * @param {SVGElement} picture
 * @param {Kit} kit
 * @param {Answer} answer
 * @param {Checkpoint[]} points
 * @param {Entry[]} readings
 * @param {number} nowS
 */
function drawCurve(picture, kit, answer, points, readings, nowS) {
  const plot = plotOf(picture.clientWidth || 328);
  const [startS, endS] = kit.data.span;
  /** @param {number} timeS */
  const x = (timeS) => plot.left + ((timeS - startS) / (endS - startS)) * (plot.right - plot.left);
  /** @param {number} percent */
  const y = (percent) => plot.bottom - (percent / 100) * (plot.bottom - plot.top);
  picture.setAttribute("viewBox", `0 0 ${plot.width} ${plot.height}`);
  picture.setAttribute("height", String(plot.height));
  picture.replaceChildren(
    draw("title", {}, curveSentence(kit, answer)),
    ...nights(kit, [startS, endS]).map(([duskS, dawnS]) =>
      draw("rect", {
        class: "night",
        x: x(duskS),
        y: plot.top,
        width: x(dawnS) - x(duskS),
        height: plot.bottom - plot.top,
      }),
    ),
    ...frame(kit, plot, x, y),
    draw("polyline", { class: "reserve", points: floorPoints(kit, answer, x, y) }),
    draw("polyline", { class: "dull", points: linePoints(answer, answer.charge.dull, x, y) }),
    draw("polyline", { class: "middling", points: linePoints(answer, answer.charge.middle, x, y) }),
    ...readings.map(({ atS, percent }) =>
      draw("circle", { class: "read", cx: x(atS), cy: y(percent || 0), r: 5 }),
    ),
    ...points.map(({ atS, leastPercent: least }) =>
      draw("line", {
        class: "turn-back",
        x1: x(atS) - 7,
        x2: x(atS) + 7,
        y1: y(least ?? 100),
        y2: y(least ?? 100),
      }),
    ),
    draw("line", { class: "now", x1: x(nowS), x2: x(nowS), y1: plot.top - 6, y2: plot.bottom }),
  );
}

/**
 * A line's points, no more than one each half pixel.
 * @param {Answer} answer
 * @param {Float64Array} charge
 * @param {(timeS: number) => number} x
 * @param {(percent: number) => number} y
 */
function linePoints({ edges }, charge, x, y) {
  const points = [];
  let last = -Infinity;
  for (let k = 0; k < edges.length; k++) {
    const at = x(edges[k]);
    if (at - last < 0.5 && k < edges.length - 1) continue;
    points.push(`${at.toFixed(1)},${y(charge[k]).toFixed(1)}`);
    last = at;
  }
  return points.join(" ");
}

/**
 * The points of the reserve, on top of what the cold holds back on the middling day.
 * @param {Kit} kit
 * @param {Answer} answer
 * @param {(timeS: number) => number} x
 * @param {(percent: number) => number} y
 */
function floorPoints(kit, { cases: [setup], middle, edges }, x, y) {
  const { coldRow, coldShare, coldColumns } = courseOf(setup);
  const column = coldColumns > 1 ? middle : 0;
  const [, endS] = kit.data.span;
  const points = [];
  let last = NaN;
  for (let k = 0; k + 1 < edges.length; k++) {
    const held = kit.data.reserve_percent + 100 * coldShare[coldRow[k] * coldColumns + column];
    if (held === last) continue;
    if (points.length) points.push(`${x(edges[k])},${y(last)}`);
    points.push(`${x(edges[k])},${y(held)}`);
    last = held;
  }
  return [...points, `${x(endS)},${y(last)}`].join(" ");
}

/**
 * The percents and clocks around the plot.
 * @param {Kit} kit
 * @param {Plot} plot
 * @param {(timeS: number) => number} x
 * @param {(percent: number) => number} y
 */
function frame(kit, plot, x, y) {
  const percents = [0, 50, 100].flatMap((percent) => [
    draw("line", { class: "grid", x1: plot.left, x2: plot.right, y1: y(percent), y2: y(percent) }),
    draw("text", { x: plot.left - 6, y: y(percent) + 5, "text-anchor": "end" }, `${percent} %`),
  ]);
  const clocks = clockMarks(kit, Math.floor((plot.right - plot.left) / MOST_CLOCKS_APART_PX));
  return [
    ...percents,
    ...clocks.flatMap(({ timeS, text }) => [
      draw("line", {
        class: "grid",
        x1: x(timeS),
        x2: x(timeS),
        y1: plot.bottom,
        y2: plot.bottom + 5,
      }),
      draw(
        "text",
        { x: Math.min(x(timeS), plot.right - 20), y: plot.bottom + 22, "text-anchor": "middle" },
        text,
      ),
    ]),
  ];
}

/**
 * Whole hours of the local clock, at most so many; a midnight goes by its day.
 * @param {Kit} kit
 * @param {number} most
 */
function clockMarks(kit, most) {
  const [startS, endS] = kit.data.span;
  const hours = (endS - startS) / 3600;
  const every = CLOCK_STEPS_H.find((step) => hours / step <= most) || 480;
  const marks = [];
  for (let hour = 0; hour < 24 * (kit.lastDay - kit.firstDay + 2); hour += every) {
    const timeS = toUtc(kit, kit.firstDay * DAY_S + 3600 * hour);
    if (timeS < startS || timeS > endS) continue;
    const { weekday, day } = localFields(kit, timeS);
    marks.push({ timeS, text: hour % 24 === 0 ? `${weekday} ${day}` : clockFace(kit, timeS) });
  }
  return marks;
}

/**
 * What the drawing shows, for who cannot see it.
 * @param {Kit} kit
 * @param {Answer} answer
 */
function curveSentence(kit, { charge, lowest, edges }) {
  const end = charge.middle[edges.length - 1];
  return (
    `The charge on a middling day: lowest ${fixed(lowest.percent, 0)} % ` +
    `${atClock(kit, lowest.atS)}, ${fixed(end, 0)} % at the end; ` +
    `the reserve is ${brief(kit.data.reserve_percent)} %`
  );
}

/**
 * The rows of the curve's table: a time, the middling and the dull percent.
 * @param {Kit} kit
 * @param {Answer} answer
 */
function curveRows(kit, answer) {
  const { edges } = answer;
  const [startS, endS] = [edges[0], edges[edges.length - 1]];
  return Array.from({ length: TABLE_ROWS + 1 }, (_, k) => {
    const timeS = startS + (k / TABLE_ROWS) * (endS - startS);
    const rounded = k === 0 || k === TABLE_ROWS ? timeS : Math.round(timeS / 300) * 300;
    const { middling, dull } = expectedAt(answer, rounded);
    return [shortClock(kit, rounded), `${fixed(middling, 0)} %`, `${fixed(dull, 0)} %`];
  });
}
