// The hand on the strips, live news, and the drop of files.  Every page reads and works without it.
"use strict";
const $ = (id) => document.getElementById(id);

// --- strips: take hold, zoom, pan ------------------------------------------------------------------------------------
const strips = $("strips");
if (strips) {
  const base = strips.dataset.base;
  const hands = [...strips.querySelectorAll(".hand")];
  const state = { of: JSON.parse(strips.dataset.of), open: JSON.parse(strips.dataset.open), asked: 0 };
  let panning = matchMedia("(pointer: coarse)").matches;
  const shape = (hand) => {
    const d = hand.dataset;
    return { key: d.key, start: +d.start, stop: +d.stop, length: +d.length, measure: d.measure, rows: d.rows.split(",").map(Number), high: +d.high };
  };
  const wide = () => Math.max(200, Math.min(4000, Math.round(hands[0].clientWidth)));
  const views = () => hands.map(shape).filter((s) => s.start > 0 || s.stop < s.length).map((s) => `${s.key}:${s.start}-${s.stop}`);
  const asking = (more = []) => new URLSearchParams([...state.of.map((t) => ["of", t]), ...state.open.map((t) => ["open", t]), ...more]);
  const address = () => `${base}?${asking(views().map((v) => ["view", v]))}`;
  const fetched = async (path) => {
    const answer = await fetch(path, { headers: { accept: "application/json" } });
    const body = await answer.json();
    if (!answer.ok) throw new Error(`${body.asked}: ${body.true}; ${body.cure}`);
    return body;
  };
  const say = (words) => { $("said").textContent = words; };
  const failed = (error) => { $("panel").insertAdjacentHTML("afterbegin", '<p class="error" role="alert"></p>'); $("panel").firstChild.textContent = error.message; };
  const amount = (many, measure) => measure === "um" ? `${(many / 1e6).toLocaleString("en", { minimumFractionDigits: 1, maximumFractionDigits: 1 })} m` : `${Math.round(many).toLocaleString("en")} ${measure}`;

  // What a selection touches, on every strip.  An answer that was overtaken by a later question is dropped.
  async function take(more, push = true) {
    const turn = ++state.asked;
    const began = performance.now();
    try {
      const got = await fetched(`${base}/follow?${asking([...views().map((v) => ["view", v]), ["wide", wide()], ...more])}`);
      if (turn !== state.asked) return;
      state.of = got.of;
      for (const hand of hands) {
        const drawn = got.tracks[hand.dataset.key];
        if (drawn === undefined) continue;
        if (got.shapes[hand.dataset.key]) put(hand, drawn, got.shapes[hand.dataset.key]);
        else hand.querySelector("g.touched").innerHTML = drawn;
      }
      $("panel").innerHTML = got.panel;
      document.dispatchEvent(new CustomEvent("grown", { detail: { order: got.order, entries: got.entries } }));
      if ($("of")) $("of").value = state.of.join("; ");
      if (push) history.pushState({}, "", address());
      const head = $("panel").querySelector("h3 + p");
      say(state.of.length ? `Taken hold of ${state.of.slice(0, 3).join(", ")}. ${head ? head.textContent : ""}` : "Let go.");
      requestAnimationFrame(() => { strips.dataset.took = (performance.now() - began).toFixed(1); strips.dataset.turn = turn; });
    } catch (error) { if (turn === state.asked) failed(error); }
  }
  function letGo() {
    state.of = [];
    return take([]);
  }

  // A window of one strip: one question at a time, the newest wanted next.
  function put(hand, svg, s) {
    hand.querySelector("svg").outerHTML = svg;
    for (const name of ["start", "stop"]) hand.dataset[name] = s[name];
  }
  const wanted = new Map();
  async function look(hand, start, stop, push = true) {
    const s = shape(hand);
    const size = Math.min(Math.max(stop - start, 12), s.length);
    start = Math.round(Math.min(Math.max(0, start), s.length - size));
    hand.dataset.start = start; hand.dataset.stop = Math.round(start + size);
    if (wanted.has(hand)) { wanted.set(hand, true); return; }
    wanted.set(hand, false);
    const began = performance.now();
    try {
      const at = shape(hand);
      const got = await fetched(`${base}/track/${encodeURIComponent(s.key)}?${asking([["start", at.start], ["stop", at.stop], ["wide", wide()]])}`);
      const again = wanted.get(hand);
      wanted.delete(hand);
      if (again) { const now = shape(hand); await look(hand, now.start, now.stop, push); return; }
      put(hand, got.svg, got.shape);
      if (push) history.replaceState({}, "", address());
      say(`${hand.getAttribute("aria-label").split(".")[0]}: ${amount(got.shape.stop - got.shape.start, s.measure)} shown`);
      requestAnimationFrame(() => { hand.dataset.took = (performance.now() - began).toFixed(1); });
    } catch (error) { wanted.delete(hand); failed(error); }
  }
  const zoom = (hand, by, share = 0.5) => {
    const s = shape(hand), size = (s.stop - s.start) * by, at = s.start + (s.stop - s.start) * share;
    return look(hand, at - size * share, at + size * (1 - share));
  };
  const pan = (hand, by) => { const s = shape(hand), d = (s.stop - s.start) * by; return look(hand, s.start + d, s.stop + d); };

  // Places on a strip.
  const place = (hand, x) => { const s = shape(hand), box = hand.getBoundingClientRect(); return s.start + (x - box.left) / box.width * (s.stop - s.start); };
  const px = (hand, at) => { const s = shape(hand); return (at - s.start) / (s.stop - s.start) * hand.clientWidth; };
  const lane = (hand, y) => {
    const s = shape(hand), box = hand.getBoundingClientRect(), scale = box.height / s.high;
    const row = Math.floor(((y - box.top) / scale - 10) / (s.rows.length > 1 ? 11 : 26));
    return Math.min(Math.max(row, 0), s.rows.length - 1);
  };
  const unit = (measure) => measure === "um" ? 1e6 : 1;
  function stretch(hand, a, b) {  // round places, as fine as a px is
    const s = shape(hand), fine = 10 ** Math.floor(Math.log10(Math.max(1, (s.stop - s.start) / hand.clientWidth)));
    const low = Math.min(a, b), high = Math.max(a, b), least = unit(s.measure);
    if (px(hand, high) - px(hand, low) < 3) { const at = Math.floor(Math.min(a, b) / least) * least; return [Math.max(0, at), at + least]; }
    return [Math.max(0, Math.floor(low / fine) * fine), Math.min(s.length, Math.max(Math.ceil(high / fine) * fine, Math.floor(low / fine) * fine + 1))];
  }
  function grip(hand, a, b, rows) {
    let bar = hand.querySelector(".grip");
    if (!bar) { hand.insertAdjacentHTML("beforeend", '<div class="grip"></div><div class="where" aria-hidden="true"></div>'); bar = hand.querySelector(".grip"); }
    const s = shape(hand), left = px(hand, Math.min(a, b)), right = px(hand, Math.max(a, b));
    const scale = hand.clientHeight / s.high, row = s.rows.length > 1 ? 11 : 26;
    bar.style.left = `${left}px`; bar.style.width = `${Math.max(1, right - left)}px`;
    bar.style.top = `${(10 + rows[0] * row) * scale}px`; bar.style.height = `${(rows[1] - rows[0] + 1) * row * scale}px`; bar.style.bottom = "auto";
    const where = hand.querySelector(".where");
    where.textContent = amount(Math.abs(b - a), s.measure);
    where.style.left = `${Math.min(Math.max(0, left), hand.clientWidth - 90)}px`;
  }
  const ungrip = (hand) => hand.querySelectorAll(".grip, .where").forEach((one) => one.remove());
  function takeStretch(hand, a, b, rows) {
    const s = shape(hand), [start, stop] = stretch(hand, a, b);
    const lanes = s.rows.slice(rows[0], rows[1] + 1).join(",");
    return take([["track", s.key], ["start", start], ["stop", stop], ["lanes", lanes]]);
  }

  for (const hand of hands) {
    let held = null;
    const fingers = new Map();
    hand.addEventListener("pointerdown", (e) => {
      if (e.button) return;
      fingers.set(e.pointerId, e.clientX);
      if (fingers.size === 2) { held = null; ungrip(hand); return; }
      const moves = e.shiftKey !== (panning && e.pointerType !== "mouse" || panning && e.pointerType === "mouse");
      held = { x: e.clientX, at: place(hand, e.clientX), row: lane(hand, e.clientY), start: shape(hand).start, stop: shape(hand).stop, moves, far: 0, link: e.target.closest("a") };
      hand.setPointerCapture(e.pointerId);
    });
    hand.addEventListener("pointermove", (e) => {
      if (fingers.size === 2 && fingers.has(e.pointerId)) {
        const [a, b] = [...fingers.values()];
        fingers.set(e.pointerId, e.clientX);
        const [c, d] = [...fingers.values()];
        const by = Math.abs(a - b) / Math.max(8, Math.abs(c - d)), box = hand.getBoundingClientRect();
        zoom(hand, by, ((c + d) / 2 - box.left) / box.width);
        return;
      }
      if (!held) return;
      held.far = Math.max(held.far, Math.abs(e.clientX - held.x));
      if (held.moves) {
        const d = (held.x - e.clientX) / hand.clientWidth * (held.stop - held.start);
        if (held.far > 3) look(hand, held.start + d, held.stop + d);
      } else if (held.far > 2) {
        const rows = [held.row, lane(hand, e.clientY)].sort((a, b) => a - b);
        grip(hand, held.at, place(hand, e.clientX), rows);
      }
    });
    const up = (e) => {
      fingers.delete(e.pointerId);
      const done = held;
      held = null;
      ungrip(hand);
      if (!done || e.type === "pointercancel") return;
      if (done.far <= 3 && done.link) { follow(done.link); return; }
      if (done.moves && done.far > 3) return;
      const rows = [done.row, lane(hand, e.clientY)].sort((a, b) => a - b);
      takeStretch(hand, done.at, done.far <= 3 ? done.at : place(hand, e.clientX), done.far <= 3 ? [done.row, done.row] : rows);
    };
    hand.addEventListener("pointerup", up);
    hand.addEventListener("pointercancel", up);
    hand.addEventListener("click", (e) => { if (e.target.closest("a")) e.preventDefault(); });
    hand.addEventListener("wheel", (e) => {
      const sideways = Math.abs(e.deltaX) > Math.abs(e.deltaY) || e.shiftKey;
      if (!sideways && !e.ctrlKey && document.activeElement !== hand) return;  // an unheld wheel scrolls the page
      e.preventDefault();
      const box = hand.getBoundingClientRect();
      if (sideways) pan(hand, (e.deltaX || e.deltaY) / box.width);
      else zoom(hand, Math.exp(Math.sign(e.deltaY) * 0.35), (e.clientX - box.left) / box.width);
    }, { passive: false });

    // Keys: a hand that is moved, stretched, and takes hold.
    let key = null;
    hand.addEventListener("keydown", (e) => {
      const s = shape(hand), step = (s.stop - s.start) / (e.ctrlKey ? 200 : 40);
      if (e.target !== hand && e.key === "Enter" && e.target.closest("a")) { e.preventDefault(); follow(e.target.closest("a")); return; }
      if (e.altKey || e.metaKey) return;
      if (!key || key.a < s.start || key.b > s.stop) key = { a: s.start + (s.stop - s.start) / 2, b: s.start + (s.stop - s.start) / 2, low: 0, high: s.rows.length - 1 };
      const acts = {
        ArrowLeft: () => { if (e.shiftKey) key.b -= step; else { key.a = key.b = Math.max(s.start, Math.min(key.a, key.b) - step); } },
        ArrowRight: () => { if (e.shiftKey) key.b += step; else { key.a = key.b = Math.min(s.stop, Math.max(key.a, key.b) + step); } },
        ArrowUp: () => { key.low = e.shiftKey ? Math.max(0, key.low - 1) : Math.max(0, key.high - 1); if (!e.shiftKey) key.high = key.low; },
        ArrowDown: () => { key.high = Math.min(s.rows.length - 1, key.high + (key.high - key.low === s.rows.length - 1 && !e.shiftKey ? 0 : 1)); if (!e.shiftKey) key.low = key.high; },
        "+": () => zoom(hand, 0.5, (key.a - s.start) / (s.stop - s.start)), "=": () => zoom(hand, 0.5, (key.a - s.start) / (s.stop - s.start)),
        "-": () => zoom(hand, 2), "0": () => look(hand, 0, s.length), PageDown: () => pan(hand, 0.8), PageUp: () => pan(hand, -0.8),
        Home: () => pan(hand, -1e6), End: () => pan(hand, 1e6),
        Enter: () => takeStretch(hand, key.a, key.b, [key.low, key.high]), Escape: letGo,
      };
      const act = acts[e.key];
      if (!act) return;
      e.preventDefault();
      act();
      if (e.key.startsWith("Arrow")) {
        grip(hand, key.a, key.b, [key.low, key.high]);
        const lanes = s.rows.length > 1 ? `, lanes ${s.rows[key.low]} to ${s.rows[key.high]}` : "";
        say(`${amount(Math.min(key.a, key.b), s.measure)}${key.a === key.b ? "" : ` to ${amount(Math.max(key.a, key.b), s.measure)}`}${lanes}`);
      } else if (e.key === "Enter" || e.key === "Escape") { ungrip(hand); }
    });
    hand.addEventListener("blur", () => ungrip(hand));
  }

  function follow(link) {
    const there = new URL(link.getAttribute("href"), location.href), of = there.searchParams.getAll("of");
    if (of.length) { state.of = of; take([]); } else location.assign(there);
  }
  document.addEventListener("click", (e) => {
    const move = e.target.closest("[data-move]"), fit = e.target.closest("[data-fit]"), drop = e.target.closest("[data-let-go]");
    if (e.ctrlKey || e.metaKey || e.shiftKey) return;
    if (move) {
      e.preventDefault();
      const hand = move.closest(".track").querySelector(".hand");
      ({ left: () => pan(hand, -0.5), right: () => pan(hand, 0.5), in: () => zoom(hand, 0.5), out: () => zoom(hand, 2) })[move.dataset.move]();
    } else if (fit) { e.preventDefault(); take([["fit", "true"]]); } else if (drop) { e.preventDefault(); letGo(); }
  });
  addEventListener("popstate", () => location.reload());
  const mode = $("mode");
  mode.hidden = false;
  const shown = () => { mode.textContent = panning ? "Drag moves the strip" : "Drag takes hold"; mode.setAttribute("aria-pressed", panning); document.body.classList.toggle("panning", panning); };
  mode.addEventListener("click", () => { panning = !panning; shown(); });
  shown();
  if (Math.abs(wide() - 1100) > 40) for (const hand of hands) { const s = shape(hand); look(hand, s.start, s.stop, false); }
}

// --- news: one stream a page, closed on leaving ------------------------------------------------------------------------
const news = document.querySelector(".news");
if (news && document.querySelector(".who")) {
  // Only the page that is looked at listens: a browser gives a server six connections, and each stream takes one.
  let stream = null;
  const hear = {};
  const on = (what, act) => { hear[what] = act; };
  // What ended while nobody listened yet is asked for once.
  const caught = async () => {
    for (const row of document.querySelectorAll("[data-job]")) {
      const answer = await fetch(`/api${location.pathname.replace(/\/intake$/, "")}/jobs/${row.dataset.job}`);
      if (answer.ok && !["waiting", "running"].includes((await answer.json()).state)) { location.reload(); return; }
    }
  };
  const listen = () => {
    if (document.hidden) { if (stream) stream.close(); stream = null; return; }
    if (stream) return;
    stream = new EventSource("/live");
    stream.addEventListener("open", caught);
    for (const [what, act] of Object.entries(hear)) stream.addEventListener(what, act);
  };
  addEventListener("pagehide", () => { if (stream) stream.close(); stream = null; });
  addEventListener("pageshow", listen);
  document.addEventListener("visibilitychange", listen);
  const tell = (words) => { news.textContent = words; };
  const grown = (told) => {
    if (told.order !== news.dataset.order || told.entries <= +news.dataset.entries) return;
    const more = told.entries - news.dataset.entries;
    tell(`${more.toLocaleString("en")} new ${more === 1 ? "entry" : "entries"} in the journal. `);
    const link = document.createElement("a");
    link.href = location.href; link.textContent = "Show them";
    link.addEventListener("click", (e) => { e.preventDefault(); location.reload(); });
    news.append(link);
  };
  document.addEventListener("grown", (e) => grown(e.detail));
  on("journal", (e) => grown(JSON.parse(e.data)));
  on("waiting", (e) => { const n = JSON.parse(e.data).count; if (location.pathname !== "/waiting") tell(`${n} ${n === 1 ? "act waits" : "acts wait"} for a second person.`); });
  on("job", (e) => {
    const job = JSON.parse(e.data), row = document.querySelector(`[data-job="${job.id}"]`);
    if (!row) return;
    const bar = row.querySelector("progress"), words = row.querySelector(".what");
    if (bar && job.of) { bar.max = job.of; bar.value = job.done; }
    if (words) words.textContent = job.of ? `${job.what}, ${job.done.toLocaleString("en")} of ${job.of.toLocaleString("en")}${row.dataset.unit ? ` ${row.dataset.unit}` : ""}` : job.what;
    if (!["waiting", "running"].includes(job.state)) location.reload();
  });
  listen();
}

// --- intake: files dropped on the form ---------------------------------------------------------------------------------
for (const input of document.querySelectorAll('input[type="file"]')) {
  const form = input.form;
  form.classList.add("drop");
  form.addEventListener("dragover", (e) => { e.preventDefault(); form.classList.add("over"); });
  form.addEventListener("dragleave", () => form.classList.remove("over"));
  form.addEventListener("drop", (e) => { e.preventDefault(); form.classList.remove("over"); input.files = e.dataTransfer.files; });
}

// --- plan: a bar drawn to another time or machine is pinned there; arrows go from bar to bar --------------------------
const pin = document.querySelector('form[action$="/plan/pin"]');
for (const chart of document.querySelectorAll("svg[data-from]")) {
  const bars = [...chart.querySelectorAll("a.bar")], d = chart.dataset;
  const box = (bar) => bar.querySelector("rect").getBBox();
  if (bars.length) bars[0].setAttribute("tabindex", "0");
  const go = (from, to) => { if (!to) return; from.setAttribute("tabindex", "-1"); to.setAttribute("tabindex", "0"); to.focus(); };
  const nearest = (bar, down) => {  // in the next row that has bars, whichever is nearest in time
    const at = box(bar), ahead = bars.filter((one) => down ? box(one).y > at.y + 4 : box(one).y < at.y - 4);
    const row = down ? Math.min(...ahead.map((one) => box(one).y)) : Math.max(...ahead.map((one) => box(one).y));
    return ahead.filter((one) => Math.abs(box(one).y - row) < 4).sort((a, b) => Math.abs(box(a).x - at.x) - Math.abs(box(b).x - at.x))[0];
  };
  chart.addEventListener("keydown", (e) => {
    const bar = e.target.closest("a.bar");
    if (!bar || e.altKey || e.ctrlKey || e.metaKey) return;
    const same = bars.filter((one) => Math.abs(box(one).y - box(bar).y) < 4).sort((a, b) => box(a).x - box(b).x), at = same.indexOf(bar);
    const to = { ArrowRight: () => same[at + 1], ArrowLeft: () => same[at - 1], Home: () => same[0], End: () => same.at(-1), ArrowDown: () => nearest(bar, true), ArrowUp: () => nearest(bar, false) }[e.key];
    if (!to) return;
    e.preventDefault();
    go(bar, to());
  });
  if (!pin || !d.machines) continue;
  // What is drawn is a copy; the bar itself stays until the works is planned anew.  A finger scrolls, it does not draw.
  const machines = d.machines.split(",").map(Number), tops = d.tops.split(",").map(Number);
  const name = (m) => chart.querySelector(`[data-machine="${m}"]`).dataset.name;
  let held = null, drawn = 0;
  const px = (e) => { const at = chart.getScreenCTM(); return { x: (e.clientX - at.e) / at.a, y: (e.clientY - at.f) / at.d }; };
  chart.addEventListener("pointerdown", (e) => {
    const bar = e.target.closest("a.bar");
    if (!bar || e.button || e.pointerType === "touch" || +bar.dataset.many > 1) return;
    held = { bar, from: px(e), at: box(bar), ghost: null };
  });
  chart.addEventListener("dragstart", (e) => e.preventDefault());
  addEventListener("pointermove", (e) => {
    if (!held) return;
    const now = px(e), dx = now.x - held.from.x, dy = now.y - held.from.y;
    if (!held.ghost && Math.hypot(dx, dy) < 5) return;
    if (!held.ghost) {
      held.ghost = held.bar.cloneNode(true);
      held.ghost.setAttribute("opacity", "0.7"); held.ghost.setAttribute("pointer-events", "none");
      chart.append(held.ghost);
      document.body.classList.add("drawing");
    }
    held.ghost.setAttribute("transform", `translate(${dx} ${dy})`);
  });
  addEventListener("pointerup", (e) => {
    const done = held;
    held = null;
    if (!done || !done.ghost) return;
    drawn = Date.now();
    document.body.classList.remove("drawing");
    done.ghost.remove();
    const now = px(e), row = Math.min(tops.length - 1, Math.max(0, tops.findLastIndex((top) => top <= now.y)));
    const units = (done.at.x + now.x - done.from.x - d.left) / (d.wide - d.left - 8) * d.minutes / d.step;
    const [form, machine, start] = [pin, name(machines[row]), later(d.from, Math.round(units) * d.step)];
    form.elements.operation.value = done.bar.dataset.op;
    if (![...form.elements.machine.options].some((one) => one.value === machine)) form.elements.machine.add(new Option(machine, machine));
    form.elements.machine.value = machine;
    form.elements.start.value = start;
    form.requestSubmit();
  });
  addEventListener("pointercancel", () => { if (held?.ghost) held.ghost.remove(); held = null; document.body.classList.remove("drawing"); });
  chart.addEventListener("click", (e) => { if (Date.now() - drawn < 300) e.preventDefault(); }, true);
}
// A moment some minutes after another; with its hours from UTC, so that it is the same whatever zone the page is read in.
function later(from, minutes) {
  return new Date(Date.parse(from) + minutes * 60000).toISOString().replace(".000Z", "+00:00");
}
