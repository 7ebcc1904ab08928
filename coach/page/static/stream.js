// Brings the screens to all windows of a browser over one connection, and tells the server the number of windows.
"use strict";

const AGAIN = 1000;      // ms until the connection is tried again
const HERE = 2000;       // ms between two messages to the windows
const TELL = 30000;      // ms between two messages to the server: they keep a connection open for a halt

const windows = new Map(); // id of a window to its port
let last = null;         // the newest screen; none while the connection is lost
let number = "";         // the server's number of this stream

function all(text) {
  for (const port of windows.values()) port.postMessage(text);
}

function tell() {
  if (!number || !windows.size) return;
  fetch("windows", {
    method: "POST", redirect: "error", headers: { "content-type": "application/json" },
    body: JSON.stringify({ stream: Number(number), n: windows.size }), signal: AbortSignal.timeout(4000),
  }).catch(() => {}); // the next message repeats it
}

function connect() {
  const source = new EventSource("screens");
  source.onmessage = (event) => {
    last = event.data;
    all(last);
    if (number === event.lastEventId) return;
    number = event.lastEventId;
    tell();
  };
  source.onerror = () => {
    source.close();
    last = null;
    number = "";
    all(null);
    setTimeout(connect, AGAIN);
  };
}

onconnect = ({ ports: [port] }) => {
  port.onmessage = ({ data: window }) => {
    const anew = windows.has(window);
    windows.set(window, port);
    if (last !== null) port.postMessage(last);
    if (anew) return;
    tell();
    navigator.locks.request(window, () => { // granted once that window is closed
      windows.delete(window);
      tell();
    });
  };
};

setInterval(() => all(""), HERE);
setInterval(tell, TELL);
connect();
