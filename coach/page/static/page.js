// Draws the screens that the coach sends, and sends presses back. It keeps no state of a session and contains no
// wording: every word comes with a screen and is inserted as text, never as markup.
"use strict";

const STALE = 3000;      // ms without a screen after which a running session counts as lost
const SILENT = 10000;    // ms without a message from the stream, which sends one every two seconds: it has died
const SIGNS = ["halted", "paused", "unanswered", "deaf", "mute", "sound", "no_echo", "unclear", "lost"];
const BANDS = { halted: "still", paused: "still", no_echo: "notice", unclear: "notice", unwritten: "notice" }; // any other: danger
const HALTS_TRIED = 120;  // times; only a halt that did not arrive is sent again

let screen = null;       // the last one that came
let words = {};
let connected = true;
let late = false;        // true: a session runs, but no screen came for a while
let unsent = 0;          // time since which a press is known to be lost; 0: all presses arrived
let sending = false;

// ---- presses to the coach

/** Send once; tell whether it arrived. What was called off meanwhile counts as arrived: nobody waits for it. */
async function sent(body, calledOff) {
  if (calledOff.aborted) return true;
  try {
    const answer = await fetch("do", {
      method: "POST", keepalive: true, redirect: "error", headers: { "content-type": "application/json" },
      body: JSON.stringify(body), signal: AbortSignal.any([calledOff, AbortSignal.timeout(4000)]),
    });
    unsent = answer.ok ? 0 : performance.now();
  } catch {
    if (calledOff.aborted) return true;
    unsent = performance.now();
  }
  alarm();
  return unsent === 0;
}

let others = new AbortController(); // cancels presses that are still under way
const halts = new BroadcastChannel("halts"); // to the other windows of this browser

function callOff() {
  others.abort();
  others = new AbortController();
}

halts.onmessage = callOff;
let before = Promise.resolve(true); // keeps presses in order

function send(body) {
  const { signal } = others;
  before = before.then(() => sent(body, signal));
  return before;
}

function press(key) {
  send({ do: "press", key: key.key, serial: screen.serial });
}

/** Halt at once, ahead of all that was pressed before, in any window: a "ready" that comes late must not undo it, and
 * nothing that is on its way takes up the connections. */
async function halt() {
  halts.postMessage("");
  callOff();
  const found = screen && screen.keys.find((one) => one.halts);
  const body = { do: "press", key: found ? found.key : " " };
  const never = new AbortController().signal;
  for (let tried = 0; tried < HALTS_TRIED && !(await sent(body, never)); tried += 1) {
    if (tried) await new Promise((done) => { setTimeout(done, 500); }); // the first retry is immediate: a connection had just ended
  }
}

async function choose(id) {
  if (sending || !screen || screen.kind !== "step") return;
  sending = true;
  const fields = {};
  for (const field of $("fields").querySelectorAll("input, textarea")) fields[field.name] = field.value;
  await send({ do: "choose", serial: screen.serial, id, fields });
  sending = false;
}

/** The key that was meant, whatever layout of letters is on: a Korean one gives no "p" for the key of p. */
function keyOf(event) {
  if (event.code === "Space" || event.key === " ") return " ";
  if (/^[\x21-\x7e]$/.test(event.key)) return event.key.toLowerCase();
  const plain = /^(?:Key|Digit|Numpad)([A-Z0-9])$/.exec(event.code);
  return plain && (event.key.length === 1 || event.key === "Process") ? plain[1].toLowerCase() : "";
}

function onKey(event) {
  if ((screen && screen.kind !== "session") || event.ctrlKey || event.altKey || event.metaKey) return;
  const key = keyOf(event);
  if (!key) {
    if (event.key === "Enter" && event.repeat) event.preventDefault(); // a held key presses once
    return;
  }
  const found = screen && screen.keys.find((one) => one.key === key);
  if (key !== " " && !found) return; // the space bar halts even before a screen has come
  event.preventDefault(); // on key down and key up, so that space presses no button
  event.stopPropagation();
  if (event.type !== "keydown" || event.repeat) return;
  if (key === " " || found.halts) halt();
  else press(found);
}

addEventListener("keydown", onKey, true);
addEventListener("keyup", onKey, true);
let down = -Infinity;    // time of the last touch of the halt: it acts on touch, not on release
$("halt").addEventListener("pointerdown", (event) => {
  down = event.timeStamp;
  halt();
});
$("halt").addEventListener("click", (event) => { if (event.timeStamp - down > 1000) halt(); }); // by Enter, or by a screen reader
$("form").addEventListener("submit", (event) => {
  event.preventDefault();
  const main = screen && screen.kind === "step" && screen.choices.find((choice) => choice.weight === "main");
  if (main) choose(main.id);
});

// ---- a step

function drawStep(now, fresh) {
  put("place", now.place);
  put("head", now.head);
  put("lead", now.lead);
  put("problem", now.problem || "");
  if (fresh) $("fields").replaceChildren();

  reconcile($("lines"), now.lines.map((line, at) => ({ ...line, at })), (line) => `${line.at} ${line.mark}`, (line) => {
    const item = made("li", { class: line.mark });
    if (line.mark !== "said" && line.mark !== "small") item.append(sign(line.mark));
    item.append(made("span", { dir: "auto" }));
    return item;
  }, (item, line) => {
    if (item.lastChild.textContent !== line.text) item.lastChild.textContent = line.text;
  });

  show("meter", now.meter);
  if (now.meter) {
    put("meter-label", now.meter.label);
    gauge("meter-bar", now.meter.level);
  }
  show("progress", now.progress);
  if (now.progress) {
    const { label, done, of } = now.progress;
    put("progress-label", label);
    put("progress-count", of ? `${done} / ${of}` : "");
    gauge("progress-bar", of ? done / of : null);
  }

  reconcile($("fields"), now.fields, (field) => field.id, (field) => {
    const box = made("div", { class: "field" });
    const id = `field-${field.id}`;
    const input = made(field.kind === "text" ? "textarea" : "input", { id, name: field.id, dir: "auto" });
    if (field.kind === "text") input.rows = 4;
    input.maxLength = field.most;
    input.value = field.value;
    box.append(made("label", { for: id, dir: "auto" }), input);
    return box;
  }, (box, field) => {
    if (box.firstChild.textContent !== field.label) box.firstChild.textContent = field.label;
  });

  reconcile($("choices"), now.choices, (choice) => choice.id, (choice) => {
    const button = made("button", { type: "button" });
    button.append(made("b", { dir: "auto" }), made("span", { dir: "auto" }));
    button.addEventListener("click", (event) => { if (event.detail < 2) choose(choice.id); });
    return button;
  }, (button, choice) => {
    set(button, "class", choice.weight);
    const [text, beside] = button.children;
    if (text.textContent !== choice.words) text.textContent = choice.words;
    if (beside.textContent !== choice.beside) beside.textContent = choice.beside || "";
  });
  $("choices").classList.toggle("many", now.choices.length > 4);
}

// ---- a session

function drawSession(now) {
  $("session").dataset.state = now.state;
  put("exercise", now.exercise || now.title);
  put("set", now.place);
  put("side", now.side);
  put("state", now.state_words);
  put("person", now.person);
  put("title", now.exercise ? now.title : "");
  put("time-left", now.time_left || "");

  put("said-label", words.now);
  put("said", now.said);
  const broad = breadth(now.said);
  set($("said"), "class", broad <= 34 ? "short" : broad <= 96 ? "middle" : broad <= 190 ? "long" : "endless");

  show("count", now.count);
  if (now.count) {
    put("count-n", String(now.count.n));
    put("count-beside", now.count.beside);
  }
  show("rest", now.rest);
  if (now.rest) {
    put("rest-n", String(Math.ceil(now.rest.left)));
    put("rest-beside", now.rest.beside);
    drawStones(now.rest.left, now.rest.of);
  }
  show("phase", now.phase);
  follow(now.phase);
  show("stage", now.count || now.rest || now.phase);

  const others = now.keys.filter((key) => !key.halts);
  const onKeys = new Set(others.map((key) => key.does)); // a key shown on a button is not listed again
  put("say-label", [now.may_say.length && words.say, others.length && words.keys].filter(Boolean).join(" \u00b7 "));
  reconcile($("say-words"), [...new Set(now.may_say)].filter((word) => !onKeys.has(word)), (word) => word, () => made("li", { dir: "auto" }), (item, word) => {
    if (item.textContent !== word) item.textContent = word;
  });
  put("heard-label", words.heard);
  const heard = $("heard");
  const at = now.heard ? String(now.heard.at) : "";
  if (heard.dataset.at !== at) {
    heard.dataset.at = at;
    put("heard-words", now.heard ? now.heard.words : "");
    put("heard-ear", now.heard ? now.heard.ear : "");
    heard.classList.remove("new");
    void heard.offsetWidth; // restarts the animation of the mark
    heard.classList.toggle("new", Boolean(now.heard));
  }
  heard.classList.toggle("empty", !now.heard);
  put("mic-label", words.microphone);
  gauge("mic-bar", now.mic);

  const held = $("keys").contains(document.activeElement);
  reconcile($("keys"), others, (key) => key.key, (key) => {
    const button = made("button", { type: "button" });
    button.append(made("b", { dir: "auto" }), made("kbd"));
    button.addEventListener("click", (event) => { if (event.detail < 2) press(key); });
    return button;
  }, (button, key) => {
    const [does, name] = button.children;
    if (does.textContent !== key.does) does.textContent = key.does;
    const said = key.name === key.does ? "" : key.name; // a digit needs no other name
    if (name.textContent !== said) name.textContent = said;
  });
  $("keys").classList.toggle("empty", !others.length);
  const halting = now.keys.find((key) => key.halts);
  put("halt-words", words.halt);
  put("halt-key", halting ? halting.name : "");
  if (held && !$("keys").contains(document.activeElement)) $("halt").focus(); // the focus is never lost, and Enter on the halt is safe
}

// ---- alarms and the connection

function lost() {
  return !connected || late || unsent > 0;
}

function alarm() {
  const gone = lost();
  show("never", gone && !screen);
  let now = null;
  if (screen && gone) now = { kind: "lost", head: words.lost_head, text: words.lost_text };
  else if (screen && screen.kind === "session") now = screen.alarm;
  put("alarm-head", now ? now.head : "");
  put("alarm-text", now ? now.text : "");
  if (now) set($("alarm-sign").firstElementChild, "href", `#sign-${SIGNS.includes(now.kind) ? now.kind : "bad"}`);
  const kind = now ? now.kind : "";
  if (document.body.dataset.alarm === kind) return;
  document.body.dataset.alarm = kind;
  if (kind) document.body.dataset.band = BANDS[kind] || "danger";
  else delete document.body.dataset.band;
  if (kind) scrollTo(0, 0);
}

let awake = null;        // wake lock: the screen stays lit during a session

function keepAwake(yes) {
  if (!navigator.wakeLock || Boolean(awake) === yes || document.hidden) return;
  const asked = yes ? { held: null } : null;
  if (awake && awake.held) awake.held.release();
  awake = asked;
  if (!yes) return;
  navigator.wakeLock.request("screen").then((held) => {
    if (awake !== asked) held.release();
    asked.held = held;
    held.addEventListener("release", () => { if (awake === asked) awake = null; }); // lost while the page was hidden: ask again
  }, () => {}); // refused: do not ask again in this session
}

let watch = 0;

function draw(now) {
  const fresh = !screen || screen.kind !== now.kind || (now.kind === "step" && screen.serial !== now.serial);
  screen = now;
  words = now.words || words;
  late = false;
  connected = true;
  if (now.kind === "step" || performance.now() - unsent > STALE) unsent = 0; // after a step no other screen may come for long
  clearTimeout(watch);
  if (now.kind === "session") watch = setTimeout(() => { late = true; alarm(); }, STALE);

  set(document.documentElement, "lang", now.lang);
  const state = now.kind === "session" ? now.state_words : now.place; // other people see the title, so it names nobody
  const title = state ? `${state} - Coach` : "Coach";
  if (document.title !== title) document.title = title;
  put("windows", words.windows || "");
  document.body.dataset.kind = now.kind;
  show("step", now.kind === "step");
  show("session", now.kind === "session");
  show("foot", now.kind === "session");
  if (now.kind === "session") drawSession(now);
  else {
    follow(null);
    drawStep(now, fresh);
  }
  alarm();
  keepAwake(now.kind === "session");
  if (fresh) {
    scrollTo(0, 0);
    $(now.kind === "session" ? "exercise" : "head").focus({ preventScroll: true });
  }
}

// ---- the stream of screens: one for all windows, because a browser opens few connections to one address

const me = crypto.randomUUID();
let line = null;
let silent = 0;

function connect() {
  if (line) line.port.close();
  line = new SharedWorker("stream.js");
  line.onerror = () => { connected = false; alarm(); };
  line.port.onmessage = ({ data }) => {
    clearTimeout(silent);
    silent = setTimeout(connect, SILENT);
    if (data === null) {
      connected = false;
      alarm();
    } else if (data) draw(JSON.parse(data));
  };
  line.port.postMessage(me);
  silent = setTimeout(connect, SILENT);
}

addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
setTimeout(() => { if (!screen) { connected = false; alarm(); } }, STALE);
navigator.locks.request(me, () => { // held until this window is closed or has crashed
  connect();
  return new Promise(() => {});
});
