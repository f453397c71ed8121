"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const moment = document.getElementById("moment"), shown = document.getElementById("shown");
  const play = document.getElementById("play");
  const cells = new Map();
  for (const cell of document.querySelectorAll("td[data-r]")) {
    const row = Number(cell.dataset.r);
    if (!cells.has(row)) cells.set(row, []);
    cells.get(row).push(cell);
  }
  const state = data.start.slice(), before = [];
  for (const [, row, code] of data.changes) { before.push(state[row]); state[row] = code; }
  let at = data.changes.length;  // changes that are applied
  const counts = data.codes.map((_, code) => state.filter((one) => one === code).length);
  const zone = data.began.match(/(Z|[+-]\d\d:\d\d)(?::\d\d)?$/)[1];
  const offset_min = zone === "Z" ? 0 : (zone[0] === "-" ? -1 : 1) * (Number(zone.slice(1, 3)) * 60 + Number(zone.slice(4)));
  const began = Date.parse(data.began);

  function put(row, code) {
    counts[state[row]] -= 1; counts[code] += 1; state[row] = code;
    for (const cell of cells.get(row) || []) {
      cell.className = "k" + code; cell.lastElementChild.textContent = data.codes[code][0];
    }
  }
  function tell(seconds) {
    const time = new Date(began + (seconds * 60 + offset_min * 3600) * 1000 / 60).toISOString();
    const done = counts.slice(data.first_way).reduce((sum, one) => sum + one, 0);
    shown.textContent = time.slice(0, 10) + " " + time.slice(11, 19) + ", " + done + " of " + data.joined + " confirmed";
    moment.setAttribute("aria-valuetext", shown.textContent);
    counts.forEach((count, code) => { document.getElementById("n" + code).textContent = count; });
  }
  function show(seconds) {
    while (at < data.changes.length && data.changes[at][0] <= seconds) { put(data.changes[at][1], data.changes[at][2]); at += 1; }
    while (at > 0 && data.changes[at - 1][0] > seconds) { at -= 1; put(data.changes[at][1], before[at]); }
    tell(seconds);
  }
  let playing = 0;
  function stop() { clearInterval(playing); playing = 0; play.textContent = "Play"; }
  play.addEventListener("click", () => {
    if (playing) { stop(); return; }
    if (Number(moment.value) >= data.ended_s) moment.value = 0;
    play.textContent = "Stop";
    playing = setInterval(() => {
      moment.value = Number(moment.value) + Math.max(1, Math.round(data.ended_s / 300));
      show(Number(moment.value));
      if (Number(moment.value) >= data.ended_s) stop();
    }, 100);
  });
  moment.max = data.ended_s; moment.value = data.ended_s;
  moment.addEventListener("input", () => { stop(); show(Number(moment.value)); });
  for (const box of document.querySelectorAll("input.state")) {
    box.addEventListener("change", () => document.body.classList.toggle("without-k" + box.value, !box.checked));
  }
  const words = document.getElementById("words"), lines = [...document.querySelectorAll("#lines tbody tr")];
  function filter() {
    const topics = new Set([...document.querySelectorAll("input.topic:checked")].map((box) => box.value));
    const wanted = words.value.toLowerCase();
    let count = 0;
    for (const line of lines) {
      const fits = line.dataset.t.split(" ").some((topic) => topics.has(topic)) && line.textContent.toLowerCase().includes(wanted);
      line.hidden = !fits; count += fits;
    }
    document.getElementById("count").textContent = count + " of " + lines.length;
  }
  for (const box of document.querySelectorAll("input.topic")) box.addEventListener("change", filter);
  words.addEventListener("input", filter);
  filter();
  show(data.ended_s);
  document.documentElement.dataset.ready = "yes";
})();
