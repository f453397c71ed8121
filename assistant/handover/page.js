"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const at = (id) => document.getElementById(id);
  const codes = data.codes;

  function put(name, attributes, ...inside) {
    const made = document.createElement(name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    made.append(...inside);
    return made;
  }

  // --- time: by the clock and in the zone of the device that began
  const zone = data.began.match(/(Z|[+-]\d\d:\d\d)(?::\d\d)?$/)[1];
  const offset_min = zone === "Z" ? 0 : (zone[0] === "-" ? -1 : 1) * (Number(zone.slice(1, 3)) * 60 + Number(zone.slice(4)));
  const began = Date.parse(data.began);
  function clock(seconds) {
    const text = new Date(began + seconds * 1000 + offset_min * 60000).toISOString();
    return text.slice(0, 10) + " " + text.slice(11, 19);
  }

  // --- joints, groups and their names, from runs
  const joints = [], groups = [], group_of = new Map();
  const rows_at = data.ends.map((end) => new Int32Array(end.pairs + 1).fill(-1));
  for (const [first, many, kind, places, why] of data.joints) {
    for (let i = 0; i < many; i += 1) {
      joints[first + i] = { kind, why, places: places.map(([end, position]) => [end, position + i]) };
      for (const [end, position] of joints[first + i].places) rows_at[end][position] = first + i;
    }
  }
  data.ends.forEach((end, index) => {
    const add = (title, first, last, service) => {
      const made = { title, end: index, first, last, service, of: new Uint16Array(codes.length) };
      for (let position = first; position <= last; position += 1) group_of.set(index * 10000 + position, groups.length);
      groups.push(made);
    };
    for (const [title, first, last] of end.groups) add(title, first, last, false);
    if (end.pairs > end.carrier) add("service pairs", end.carrier + 1, end.pairs, true);
  });
  const group_at = ([end, position]) => group_of.get(end * 10000 + position);

  function side([index, position]) {
    const end = data.ends[index];
    if (position > end.carrier) {
      const number = position - end.carrier;
      return { end: end.name, count: "service", number, colours: end.service[number - 1] };
    }
    const place = (position - 1) % 25, tip = data.tips[Math.floor(place / 5)], ring = data.rings[place % 5];
    const colours = end.ring_first ? ring + " " + tip : tip + " " + ring;
    for (const [name, number, first, many] of end.counts) {
      if (position >= first && position < first + many) return { end: end.name, count: name, number: number + position - first, colours };
    }
    return { end: end.name, count: "pair", number: position, colours };
  }
  const named = (one) => [one.end, one.count, one.number, one.colours].filter((part) => part !== "").join(" ");
  const called = (row) => named(side(joints[row].places[0]));

  // --- how all stands after so many changes
  const state = [];
  for (const [code, many] of data.start) for (let i = 0; i < many; i += 1) state.push(code);
  const before = [], counts = new Array(codes.length).fill(0);
  for (const code of state) counts[code] += 1;
  joints.forEach((joint, row) => { for (const place of joint.places) groups[group_at(place)].of[state[row]] += 1; });
  let applied = 0;
  const touched = new Set(), cells = new Map();

  function set(row, code) {
    const was = state[row];
    counts[was] -= 1; counts[code] += 1; state[row] = code;
    for (const place of joints[row].places) {
      const index = group_at(place);
      groups[index].of[was] -= 1; groups[index].of[code] += 1; touched.add(index);
    }
    for (const cell of cells.get(row) || []) paint(cell, row);
  }
  function paint(cell, row) {
    cell.className = "k" + state[row];
    cell.firstElementChild.lastElementChild.textContent = codes[state[row]][0];
  }
  function apply(wanted) {
    while (applied < wanted) {
      const [, row, code] = data.changes[applied];
      before[applied] = state[row]; set(row, code); applied += 1;
    }
    while (applied > wanted) { applied -= 1; set(data.changes[applied][1], before[applied]); }
    for (const index of touched) mark(index);
    touched.clear();
  }

  // --- the map: a square for each group
  const squares = [];
  function mark(index) {
    const group = groups[index], square = squares[index];
    const worst = data.worst_first.find((code) => group.of[code] > 0);
    const told = codes.map((code, i) => [group.of[i], code[2]]).filter(([many]) => many).map(([many, label]) => many + " " + label);
    square.className = worst === undefined ? "" : "k" + worst;
    square.textContent = worst === undefined ? "" : codes[worst][1];
    square.setAttribute("aria-label", [data.ends[group.end].name, group.title].filter(Boolean).join(" ") + ": " + (told.join(", ") || "not in the plan"));
    square.title = square.getAttribute("aria-label");
  }
  function draw_map() {
    data.ends.forEach((end, index) => {
      const strip = put("div", { class: "strip", role: "toolbar", "aria-label": "groups of " + (end.name || "the cable") });
      groups.forEach((group, number) => {
        if (group.end !== index) return;
        const square = put("button", { type: "button", tabindex: strip.childElementCount ? -1 : 0, "aria-expanded": "false", "data-g": number });
        squares[number] = square; strip.append(square); mark(number);
      });
      at("map").append(put("h3", { class: "end" }, end.name || "cable", " ", put("small", {}, end.about)), strip);
      strip.addEventListener("click", (event) => { if (event.target.dataset.g) toggle(Number(event.target.dataset.g)); });
      strip.addEventListener("keydown", (event) => {
        const all = [...strip.children], here = all.indexOf(event.target);
        const to = { ArrowRight: here + 1, ArrowLeft: here - 1, ArrowDown: here + 24, ArrowUp: here - 24, Home: 0, End: all.length - 1 }[event.key];
        if (to === undefined || here < 0) return;
        event.preventDefault();
        const next = all[Math.max(0, Math.min(all.length - 1, to))];
        event.target.tabIndex = -1; next.tabIndex = 0; next.focus();
      });
    });
  }

  // --- groups, drawn when opened
  const open = new Map();
  function place(end, position) {
    const row = rows_at[end][position], one = side([end, position]);
    if (row < 0) return put("td", { class: "out" }, one.number + " not in plan");
    const cell = put("td", {}, put("button", { type: "button", "data-p": row }, String(one.number), put("b", {})));
    cells.set(row, [...(cells.get(row) || []), cell]);
    paint(cell, row);
    return cell;
  }
  function drawn(group) {
    const table = put("table", { class: "group" }, put("caption", {}, [data.ends[group.end].name, group.title].filter(Boolean).join(", ")));
    const body = put("tbody", {});
    if (group.service) {
      for (let position = group.first; position <= group.last; position += 1) {
        const colours = side([group.end, position]).colours || "as the cable shows";
        body.append(put("tr", {}, put("th", { scope: "row" }, colours), place(group.end, position)));
      }
      table.append(body);
      return table;
    }
    table.append(put("thead", {}, put("tr", {}, put("td", {}), ...data.rings.map((ring) => put("th", { scope: "col", class: ring }, ring)))));
    data.tips.forEach((tip, line) => {
      const made = put("tr", {}, put("th", { scope: "row", class: tip }, tip));
      for (let i = 0; i < 5; i += 1) {
        const position = group.first + line * 5 + i;
        if (position <= group.last) made.append(place(group.end, position));
      }
      body.append(made);
    });
    table.append(body);
    return table;
  }
  function show_group(index) {
    if (!open.has(index)) {
      open.set(index, drawn(groups[index]));
      squares[index].setAttribute("aria-expanded", "true");
      const after = [...open.keys()].filter((one) => one > index).sort((a, b) => a - b)[0];
      at("opened").insertBefore(open.get(index), after === undefined ? null : open.get(after));
    }
    return open.get(index);
  }
  function hide_group(index) {
    const table = open.get(index);
    for (const [row, some] of cells) cells.set(row, some.filter((cell) => !table.contains(cell)));
    table.remove(); open.delete(index);
    squares[index].setAttribute("aria-expanded", "false");
  }
  function toggle(index) { if (open.has(index)) hide_group(index); else show_group(index); }

  // --- one pair with its whole history
  const sounds = new Map(data.sounds.map(([log, record, address]) => [log + ":" + record, address]));
  let histories = null;
  function history_of(row) {
    if (histories === null) {
      histories = new Map();
      const add = (of, one) => { if (!histories.has(of)) histories.set(of, []); histories.get(of).push(one); };
      for (const [turn, of, , log, record, person, text, back] of data.changes) add(of, [turn + back, log, record, data.people[person] || "", data.texts[text]]);
      for (const [seconds, log, record, rows, text] of data.slips) for (const of of rows) add(of, [seconds, log, record, "", text]);
      for (const [seconds, log, record, of, text] of data.remarks) if (of >= 0) add(of, [seconds, log, record, "", text]);
      for (const some of histories.values()) some.sort((a, b) => a[1] === b[1] ? a[2] - b[2] : a[0] - b[0]);
    }
    return histories.get(row) || [];
  }
  function sound(log, record) {
    const address = sounds.get(log + ":" + record);
    return address ? [" ", put("audio", { controls: "", preload: "none", src: address, "aria-label": "sound of record " + record })] : [];
  }
  function lines(heads, rows) {
    const body = put("tbody", {});
    for (const row of rows) body.append(put("tr", {}, ...row.map((inside, i) => put("td", { "data-h": heads[i] }, ...[inside].flat()))));
    return put("table", { class: "list" }, put("thead", {}, put("tr", {}, ...heads.map((head) => put("th", { scope: "col" }, head)))), body);
  }
  let shown_row = -1;
  function show_pair(row) {
    shown_row = row;
    const joint = joints[row], box = at("pair");
    const title = put("h3", { tabindex: "-1" }, joint.places.map((one) => named(side(one))).join(" = "));
    const where = put("p", {}, joint.kind, joint.why ? ", " + joint.why : "");
    joint.places.forEach((one) => {
      const group = groups[group_at(one)];
      where.append("; ", put("a", { href: "#g" + group_at(one) }, [data.ends[group.end].name, group.title].filter(Boolean).join(" ")));
    });
    const last = data.changes.length, now = applied === last ? "" : " at this moment";
    const stands = put("p", {}, put("span", { class: "key k" + state[row], "aria-hidden": "true" }, codes[state[row]][0] || codes[state[row]][1]), " ", put("strong", {}, codes[state[row]][2] + now));
    const told = history_of(row).map(([seconds, log, record, person, text]) => [clock(seconds), text, person, [data.logs[log] + " " + record, ...sound(log, record)]]);
    box.replaceChildren(title, where, stands, told.length ? lines(["time", "what", "person", "record"], told) : put("p", {}, "No record names it."));
    box.hidden = false;
    return title;
  }
  const words = { grey: "slate", gray: "slate", purple: "violet" };
  function matches(text) {
    const tokens = text.toLowerCase().split(/[^\p{L}\p{N}]+/u).filter(Boolean).map((one) => words[one] || one);
    const colours = new Set([...data.tips, ...data.rings]);
    let number = null, group = null;
    const named_colours = [], rest = [];
    tokens.forEach((one, i) => {
      if (/^\d+$/.test(one)) { if (tokens[i - 1] === "group") group = Number(one); else number = Number(one); }
      else if (colours.has(one)) named_colours.push(one);
      else if (one !== "group" && one !== "pair") rest.push(one);
    });
    if (!tokens.length || (number === null && group === null && !named_colours.length && !rest.length)) return [];
    const found = [];
    for (let row = 0; row < joints.length; row += 1) {
      for (const one of joints[row].places) {
        if (group !== null && (one[1] > data.ends[one[0]].carrier || Math.floor((one[1] - 1) / 25) + 1 !== group)) continue;
        const about = side(one);
        if (number !== null && about.number !== number) continue;
        const has = about.colours.split(" ");
        if (named_colours.some((colour) => !has.includes(colour))) continue;
        const place_name = (about.end + " " + about.count).toLowerCase();
        if (rest.some((word) => !place_name.includes(word))) continue;
        found.push(row);
        break;
      }
    }
    return found;
  }
  const MOST = 40;
  function find() {
    const found = matches(at("wanted").value), box = at("found");
    box.replaceChildren();
    if (!at("wanted").value.trim()) { at("pair").hidden = true; return found; }
    box.append(put("p", {}, found.length === 1 ? "1 joint" : found.length + " joints" + (found.length > MOST ? ", the first " + MOST + ":" : "")));
    if (found.length > 1) for (const row of found.slice(0, MOST)) box.append(put("button", { type: "button", "data-p": row }, called(row)));
    if (found.length === 1) show_pair(found[0]); else at("pair").hidden = true;
    return found;
  }
  at("wanted").addEventListener("input", find);
  at("find").addEventListener("submit", (event) => {
    event.preventDefault();
    const found = find();
    if (found.length) show_pair(found[0]).focus();
  });
  document.addEventListener("click", (event) => {
    const button = event.target.closest("button[data-p]");
    if (button) { const title = show_pair(Number(button.dataset.p)); title.focus(); title.scrollIntoView({ block: "nearest" }); }
  });
  function follow() {
    const to = location.hash.match(/^#([pg])(\d+)$/);
    if (!to) return;
    const number = Number(to[2]);
    if (to[1] === "p" && joints[number]) { const title = show_pair(number); title.focus(); at("pair").scrollIntoView(); }
    if (to[1] === "g" && groups[number]) { const table = show_group(number); squares[number].focus(); table.scrollIntoView({ block: "nearest" }); }
  }
  window.addEventListener("hashchange", follow);

  // --- the moment: it moves by change, so that nights and pauses take none of it
  const moment = at("moment"), play = at("play");
  function tell() {
    const done = counts.slice(data.first_confirmed).reduce((sum, one) => sum + one, 0);
    const when = applied ? clock(data.changes[applied - 1][0]) : "before the first change";
    at("shown").textContent = when + ", " + done + " of " + data.joined + " confirmed";
    moment.setAttribute("aria-valuetext", at("shown").textContent);
    counts.forEach((count, code) => { at("n" + code).textContent = count; });
  }
  function go(index) {
    apply(index); tell();
    if (shown_row >= 0 && !at("pair").hidden) show_pair(shown_row);
  }
  let playing = 0;
  function stop() { clearInterval(playing); playing = 0; play.textContent = "Play"; }
  play.addEventListener("click", () => {
    if (playing) { stop(); return; }
    const last = data.changes.length, step = Math.max(1, Math.ceil(last / 150));
    if (applied >= last) go(0);
    play.textContent = "Stop";
    playing = setInterval(() => {
      go(Math.min(last, applied + step));
      moment.value = applied;
      if (applied >= last) stop();
    }, 80);
  });
  moment.addEventListener("input", () => { stop(); go(Number(moment.value)); });
  for (const box of document.querySelectorAll("input.state")) {
    box.addEventListener("change", () => document.body.classList.toggle("without-k" + box.value, !box.checked));
  }
  at("all").addEventListener("click", () => groups.forEach((_, index) => show_group(index)));
  at("none").addEventListener("click", () => [...open.keys()].forEach(hide_group));

  // --- steps, drawn when opened
  const steps = at("steps"), list = at("lines").tBodies[0];
  function filter() {
    const topics = new Set([...document.querySelectorAll("input.topic:checked")].map((box) => box.value));
    const wanted = at("words").value.toLowerCase();
    let count = 0;
    data.steps.forEach((step, i) => {
      const line = list.rows[i];
      const fits = step[3].some((topic) => topics.has(data.topics[topic])) && line.textContent.toLowerCase().includes(wanted);
      line.hidden = !fits; count += fits;
    });
    at("count").textContent = count + " of " + data.steps_in_all + (data.steps.length < data.steps_in_all ? "; the rest is in the report as JSON" : "");
  }
  function draw_steps() {
    if (list.rows.length) return;
    const heads = ["time", "about", "came in", "said", "record"];
    list.append(...lines(heads, data.steps.map(([seconds, log, record, topics, way, came, said]) => [clock(seconds), topics.map((topic) => data.topics[topic]).join(", "), way ? way + ": " + came : came, said, [data.logs[log] + " " + record, ...sound(log, record)]])).tBodies[0].rows);
    filter();
  }
  steps.querySelector("details").addEventListener("toggle", draw_steps);
  for (const box of document.querySelectorAll("input.topic")) box.addEventListener("change", filter);
  at("words").addEventListener("input", filter);

  // --- print: the summary, and the parts that are asked for
  for (const box of document.querySelectorAll("input.printed")) {
    box.addEventListener("change", () => {
      const part = at(box.value), details = part.querySelector(":scope > details:first-child");
      part.toggleAttribute("data-printed", box.checked);
      if (details && box.checked) details.open = true;
      if (part === steps) draw_steps();
    });
  }
  at("print").addEventListener("click", () => window.print());

  for (const place of document.querySelectorAll("span.sound")) place.append(...sound(data.logs.indexOf(place.dataset.log), Number(place.dataset.record)));
  draw_map();
  moment.max = data.changes.length; moment.value = data.changes.length;
  go(data.changes.length);
  follow();
  document.documentElement.dataset.ready = "yes";
})();
