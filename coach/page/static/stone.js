// Draws the stones: the one that rises and sinks with a rep, and the row that shows a rest. page.js knows whether the
// connection is lost.
"use strict";

const still = matchMedia("(prefers-reduced-motion: reduce)");
const RUN_ON = 250;      // ms for which a shape keeps moving without a new screen; then it stops

// ---- the moving shape: a stone on ground that rises and sinks

let phase = null;        // the last one received, with its time of arrival and whether it runs
let stands = null;       // height at which the stone is drawn, 0 to 1
let moving = false;      // true while it is redrawn with every frame

function follow(now) {
  if (!now) {
    phase = null;
    stands = null;
    return;
  }
  const same = phase && phase.name === now.name && phase.from === now.from && phase.to === now.to;
  phase = { ...now, came: performance.now(), runs: !same || now.done > phase.done };
  put("phase-name", now.name);
  put("phase-left", seconds(Math.max(0, Math.ceil(now.left - 1e-9))));
  if (!moving) {
    moving = true;
    requestAnimationFrame(frame);
  }
}

function move() {
  const on = phase.runs ? Math.min(RUN_ON, performance.now() - phase.came) / 1000 : 0;
  let done = phase.length > 0 ? Math.min(1, phase.done + on / phase.length) : phase.done;
  if (still.matches && phase.length > 0) done = Math.min(1, Math.max(0, 1 - Math.ceil(phase.left) / phase.length));
  const aim = phase.from + (phase.to - phase.from) * done;
  stands = stands === null || still.matches ? aim : stands + (aim - stands) * 0.4;
  const box = $("ground").getBoundingClientRect();
  if (!box.width || !box.height) return;
  const { width, height } = box;
  const floor = height - 8;
  const r = Math.min(height * 0.24, width * 0.13);
  const reach = floor - r * 1.6 - 10;
  const top = (at) => floor - 6 - reach * at;
  const peak = top(stands);
  const [hill, mark, line, gone, stone] = $("ground").children;
  set(hill, "d", `M0 ${floor}C${width * 0.28} ${floor} ${width * 0.3} ${peak} ${width / 2} ${peak}`
    + `S${width * 0.72} ${floor} ${width} ${floor}Z`);
  set(mark, "d", `M0 ${top(phase.to)}H${width * 0.26}M${width * 0.74} ${top(phase.to)}H${width}`);
  set(line, "d", `M0 ${floor}H${width}`);
  set(gone, "d", `M0 ${floor}H${width * done}`);
  set(stone, "d", boulder(width / 2, peak + 3, r));
}

function frame() {
  moving = phase !== null;
  if (!moving) return;
  if (!lost()) move();
  requestAnimationFrame(frame);
}

// ---- the rest

/** The rest as stones in a row: those still to come are full, those gone are outlines. */
function drawStones(left, of) {
  const many = Math.max(1, Math.min(12, Math.round(of / 5) || 1));
  const row = $("stones");
  if (row.childElementCount !== many) {
    row.replaceChildren();
    const across = Math.min(many, 6);
    set(row, "viewBox", `0 0 ${across * 40} ${Math.ceil(many / across) * 36}`);
    for (let at = 0; at < many; at += 1) {
      const stone = document.createElementNS(SVG, "path");
      stone.setAttribute("d", boulder((at % across) * 40 + 20, Math.floor(at / across) * 36 + 31, 16));
      row.append(stone);
    }
  }
  const full = of ? Math.ceil((left / of) * many - 1e-9) : 0;
  [...row.children].forEach((stone, at) => set(stone, "class", at < full ? "stone" : "outline"));
}

function boulder(x, foot, r) {
  const y = foot - r * 0.72;
  return `M${x - r} ${y + r * 0.2}C${x - r} ${y - r * 0.5} ${x - r * 0.4} ${y - r * 0.8} ${x + r * 0.15} ${y - r * 0.8}`
    + `S${x + r} ${y - r * 0.3} ${x + r} ${y + r * 0.15}S${x + r * 0.6} ${foot} ${x} ${foot}S${x - r} ${y + r * 0.75}`
    + ` ${x - r} ${y + r * 0.2}Z`;
}
