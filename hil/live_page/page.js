"use strict";
// Shows what the run tells: asks for what is new four times a second and draws it.
const SPAN_S = 20, PERIOD_MS = 250, VANES = 4;
// The same colours and lines for the same vane as in every report.
const COLOURS = ["#0072b2", "#d55e00", "#009e73", "#cc79a7"];
const DASHES = [[], [9, 4], [9, 3, 2, 3], [2, 3]];
const SVG = "http://www.w3.org/2000/svg";
const LEGEND = ["solid", "dashed", "double", "dotted"];
const byId = (id) => document.getElementById(id);
const degrees = (a) => a === null ? "–" : `${a < 0 ? "−" : "+"}${Math.abs(a).toFixed(1)}°`;
let next = 0, misses = 0, over = false, charts = [];
const rows = Array.from({ length: 1 + 2 * VANES }, () => []);

function drawn(name, attributes, parent) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  parent.append(element);
  return element;
}

// A vane in profile, leading edge to the nose (up); SVG turns clockwise by a positive angle.
const PROFILE = "M0,-62 C12,-50 13,-30 9,0 L2,62 L-2,62 L-9,0 C-13,-30 -12,-50 0,-62 Z";

function dial(i, travel) {
  const figure = document.createElement("figure");
  const svg = drawn("svg", { viewBox: "-80 -80 160 160", role: "img" }, figure);
  for (const end of travel) {
    drawn("line", { y1: -78, y2: -66, stroke: "#5b6770", "stroke-width": 3,
      transform: `rotate(${end})` }, svg);
  }
  drawn("line", { y1: -78, y2: 78, stroke: "#e3e6e8" }, svg);
  const sensed = drawn("path", { d: PROFILE, fill: COLOURS[i], opacity: .85, id: `sensed${i + 1}` }, svg);
  const led = drawn("path", { d: PROFILE, fill: "none", stroke: "#23282d", "stroke-width": 2,
    "stroke-dasharray": "5 3", id: `led${i + 1}` }, svg);
  drawn("circle", { r: 4, fill: "#fff", stroke: "#23282d" }, svg);
  const caption = document.createElement("figcaption");
  figure.append(caption);
  byId("dials").append(figure);
  return { sensed, led, caption };
}

function chart(id, label) {
  const options = {
    width: byId(id).clientWidth || 900, height: 230, cursor: { show: false },
    legend: { live: false, markers: { width: 3, dash: (u, i) => LEGEND[i - 1] } },
    scales: { x: { time: false }, y: { range: (u, low, high) =>
      [Math.min(low ?? -1, -1) * 1.1, Math.max(high ?? 1, 1) * 1.1] } },
    axes: [{ label: "time since the start, s", labelSize: 20 }, { label, labelSize: 20 }],
    series: [{ label: "time, s" }, ...COLOURS.map((stroke, i) => (
      { label: `vane ${i + 1}`, stroke, width: 2, dash: DASHES[i], points: { show: false } }))],
  };
  return new uPlot(options, [[], [], [], [], []], byId(id));
}

function clock(seconds) {
  const whole = Math.round(seconds);
  return whole < 60 ? `${whole} s` : `${Math.floor(whole / 60)} min ${whole % 60} s`;
}

function show(now, dials) {
  byId("stage").textContent = now.stage;
  const known = now.total !== null;
  byId("bar").max = known ? now.total : 1;
  byId("bar").value = known ? now.done : 0;
  byId("left").textContent = (known ? `${now.done} of ${now.total}` : `${clock(now.running_s)} so far`)
    + (now.left_s === null ? "" : `, about ${clock(now.left_s)} left`);
  const quiet = now.silent_s > 5 && !now.ended;
  linked(now.ended ? "run over" : quiet ? `nothing new for ${clock(now.silent_s)}` : "live", quiet);
  dials.forEach((each, i) => {
    const led = now.commanded_deg[i], sensed = now.sensed_deg[i];
    each.led.setAttribute("visibility", led === null ? "hidden" : "visible");
    each.sensed.setAttribute("visibility", sensed === null ? "hidden" : "visible");
    each.led.setAttribute("transform", `rotate(${led ?? 0})`);
    each.sensed.setAttribute("transform", `rotate(${sensed ?? 0})`);
    each.caption.replaceChildren();
    each.caption.append(`vane ${i + 1}: ${degrees(sensed)}`);
    const small = document.createElement("small");
    small.textContent = `led to ${degrees(led)}`;
    each.caption.append(small);
  });
  for (const sample of now.samples) sample.forEach((value, k) => rows[k].push(value));
  const from = (rows[0].at(-1) ?? 0) - SPAN_S;
  const gone = rows[0].findIndex((t) => t >= from);
  if (gone > 0) rows.forEach((row) => row.splice(0, gone));
  charts[0].setData([rows[0], ...rows.slice(1 + VANES)]);
  charts[1].setData([rows[0], ...rows.slice(1, 1 + VANES)]);
}

function linked(text, bad) {
  byId("link").textContent = text;
  byId("link").className = bad ? "lost" : "";
}

async function ask(what) {
  const answer = await fetch(what, { cache: "no-store", signal: AbortSignal.timeout(3000) });
  if (!answer.ok) throw new Error(answer.status);
  return answer.json();
}

async function turn(dials) {
  try {
    const now = await ask(`now?since=${next}`);
    next = now.next;
    over = now.ended;
    misses = 0;
    show(now, dials);
  } catch {
    misses += 1;
    if (misses > 2) linked("PAGE LOST ITS RUN: what is shown is old", true);
  }
  if (!over) setTimeout(turn, PERIOD_MS, dials);
}

async function begin() {
  let about;
  try {
    about = await ask("about");
  } catch {
    linked("no answer yet", true);
    setTimeout(begin, PERIOD_MS);
    return;
  }
  for (const span of document.querySelectorAll(".span")) span.textContent = SPAN_S;
  const dials = about.travel_deg.map((travel, i) => dial(i, travel));
  charts = [chart("sensed", "deflection, deg"), chart("commanded", "deflection, deg")];
  turn(dials);
}
begin();
