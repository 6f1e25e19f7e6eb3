"use strict";
// A cursor over a device's curve, and a slider that moves its plane along a cable without loss.
const curves = JSON.parse(document.getElementById("curves").textContent);
const LIGHT = 299.792458; // metres per microsecond
const FACTOR = 0.66;

function element(name, attributes, parent) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  parent.append(made);
  return made;
}

function grid(svg) {
  const look = { fill: "none", stroke: "#cfcfcf", "stroke-width": 0.006 };
  for (const r of [0.2, 0.5, 1, 2, 5])
    element("circle", { cx: r / (1 + r), cy: 0, r: 1 / (1 + r), ...look }, svg);
  for (const x of [0.2, 0.5, 1, 2, 5])
    for (const sign of [1, -1]) {
      // from the edge, where the resistance is nil, to the open at the right
      const size = x * x + 1;
      const edge = [(x * x - 1) / size, (-sign * 2 * x) / size];
      const sweep = sign > 0 ? 0 : 1;
      const way = `M${edge[0]} ${edge[1]}A${1 / x} ${1 / x} 0 0 ${sweep} 1 0`;
      element("path", { d: way, ...look }, svg);
    }
  element("line", { x1: -1, x2: 1, y1: 0, y2: 0, ...look }, svg);
  element("circle", { cx: 0, cy: 0, r: 1, ...look, stroke: "#595959" }, svg);
  const text = { "font-size": 0.09, fill: "#595959" };
  element("text", { x: -1.2, y: -1.02, ...text }, svg).textContent = "inductive";
  element("text", { x: -1.2, y: 1.1, ...text }, svg).textContent = "capacitive";
}

function ohms(re, im, reference) {
  const size = (1 - re) * (1 - re) + im * im;
  if (size < 1e-9) return { words: "an open", x: 0 };
  const r = (reference * (1 - re * re - im * im)) / size;
  const x = (reference * 2 * im) / size;
  const digits = Math.hypot(r, x) < 100 ? 1 : 0;
  const sign = x < 0 ? "\u2212" : "+";
  const reactance = `j${Math.abs(x).toFixed(digits)} ohm`;
  // what reads as giving power does so within what is not known of it
  const words = r < 0 ? `R not known, X = ${sign}${reactance.slice(1)}` : `${r.toFixed(digits)} ${sign} ${reactance}`;
  return { words, r, x };
}

function nature(z) {
  if (Math.abs(z.x) < 0.02 * Math.hypot(z.r, z.x)) return "nearly a plain resistance";
  return z.x > 0 ? "inductive" : "capacitive";
}

function turned(curve, at, metres) {
  const angle = (-4 * Math.PI * curve.mhz[at] * metres) / (LIGHT * FACTOR);
  const cosine = Math.cos(angle), sine = Math.sin(angle);
  return [
    curve.re[at] * cosine - curve.im[at] * sine,
    curve.re[at] * sine + curve.im[at] * cosine,
  ];
}

for (const curve of curves) {
  const section = document.getElementById(curve.id);
  const svg = section.querySelector("svg");
  const [cable, cursor] = section.querySelectorAll("input");
  const said = section.querySelector("p[aria-live]");
  grid(svg);
  const other = curve.other && { ...curve, ...curve.other };
  const width = { fill: "none", "stroke-width": 0.02 };
  const line = (one, look) => element("polyline", {
    points: one.mhz.map((_, i) => `${one.re[i]},${-one.im[i]}`).join(" "), ...look, ...width,
  }, svg);
  line(curve, { stroke: "#0072B2" });
  if (other) line(other, { stroke: "#595959", "stroke-dasharray": 0.03 });
  const diamond = element("path", { d: "M-.045 0L0 -.045L.045 0L0 .045Z", fill: "none" }, svg);
  const moved = element("polyline", { stroke: "#D55E00", "stroke-dasharray": 0.06, ...width }, svg);
  const mark = element("circle", { r: 0.035, fill: "#0072B2" }, svg);
  const seen = element("rect", { width: 0.07, height: 0.07, fill: "#D55E00" }, svg);

  // the sweep above: its axes go from the first frequency to the last
  const bands = document.getElementById(curve.id.replace("live", "bands"));
  const box = bands.querySelector('[id$="-patch_2"] path').getBBox();
  const low = bands.querySelector('[id$="-axes_2"] path').getBBox();
  const first = curve.mhz[0], span = curve.mhz[curve.mhz.length - 1] - first || 1;
  let pointed = false;
  const here = element("line", { y1: box.y, y2: low.y + low.height, stroke: "none" }, bands);
  const readout = element("text", {
    x: box.x + 8, y: box.y + 14, "font-size": 11, fill: "#222222",
    stroke: "#ffffff", "stroke-width": 4, "paint-order": "stroke",
  }, bands);

  function show() {
    const metres = Number(cable.value), at = Number(cursor.value);
    const points = curve.mhz.map((_, i) => turned(curve, i, metres));
    moved.setAttribute("points", points.map(([x, y]) => `${x},${-y}`).join(" "));
    mark.setAttribute("cx", curve.re[at]);
    mark.setAttribute("cy", -curve.im[at]);
    seen.setAttribute("x", points[at][0] - 0.035);
    seen.setAttribute("y", -points[at][1] - 0.035);
    cable.setAttribute("aria-valuetext", `${metres.toFixed(2)} m`);
    cursor.setAttribute("aria-valuetext", `${curve.mhz[at]} MHz`);
    const own = ohms(curve.re[at], curve.im[at], curve.reference);
    const along = box.x + (box.width * (curve.mhz[at] - first)) / span;
    here.setAttribute("x1", along);
    here.setAttribute("x2", along);
    if (pointed) readout.textContent = `${curve.mhz[at]} MHz: ${own.words}`;
    const through = ohms(points[at][0], points[at][1], curve.reference);
    let or = "";
    if (other && (other.re[at] !== curve.re[at] || other.im[at] !== curve.im[at])) {
      const own = ohms(other.re[at], other.im[at], curve.reference);
      const through = ohms(...turned(other, at, metres), curve.reference);
      or = ` Or it is ${own.words}, ${nature(own)}, and reads ${through.words}, ${nature(through)}` +
        ": nothing that was read tells which.";
      diamond.setAttribute("transform", `translate(${other.re[at]} ${-other.im[at]})`);
    }
    diamond.setAttribute("fill", or ? "#595959" : "none");
    said.textContent = (curve.doubt && `Not to be trusted yet: ${curve.doubt}. `) +
      `At ${curve.mhz[at]} MHz it is ${own.words}, ${nature(own)}. Through ` +
      `${metres.toFixed(2)} m of ${curve.reference} ohm cable without loss (velocity factor ` +
      `${FACTOR}) it reads ${through.words}, ${nature(through)}.${or}`;
  }

  svg.addEventListener("pointermove", (event) => {
    const place = new DOMPoint(event.clientX, event.clientY).matrixTransform(
      svg.getScreenCTM().inverse());
    let best = 0, least = Infinity;
    for (let i = 0; i < curve.mhz.length; i++) {
      const far = Math.hypot(curve.re[i] - place.x, -curve.im[i] - place.y);
      if (far < least) [best, least] = [i, far];
    }
    if (least < 0.2) { cursor.value = best; show(); }
  });
  bands.addEventListener("pointermove", (event) => {
    const place = new DOMPoint(event.clientX, event.clientY).matrixTransform(
      bands.getScreenCTM().inverse());
    const share = (place.x - box.x) / box.width;
    if (share < 0 || share > 1) return;
    const off = curve.mhz.map((mhz) => Math.abs(mhz - first - share * span));
    cursor.value = off.indexOf(Math.min(...off));
    pointed = true;
    here.setAttribute("stroke", curve.mhz.length > 1 ? "#222222" : "none");
    show();
  });
  for (const input of [cable, cursor]) input.addEventListener("input", show);
  section.hidden = false;
  show();
}
