// Marks regions on a photo: mouse, touch (one finger draws, two zoom) and keyboard.
// A region is {kind, points} with points as fractions 0..1 of the upright photo; a box is four points.
// Every edit carries a stamp, and what it was made from. Python hands the stamp of what it holds back with the next
// run: if that is older than ours, the edit got lost on the way (the connection was down, the disk was full), and it is
// sent again. Until then this tab's storage holds it, so that it outlives an error on the page and a reload.

const SVG = "http://www.w3.org/2000/svg";
const GRIP = 20;          // radius of a corner's touch target, CSS pixels
const SMALLEST = 8;       // a drag shorter than this is a tap, CSS pixels
const TEXT = 14;          // size of a label, CSS pixels
const CLOSEST = 16;       // times that the photo can be enlarged
const RESEND = 2000;      // wait before an unanswered edit is sent again, ms; doubles each time up to the longest
const LONGEST = 8000;
const UNSAVED = "unsaved-marks ";              // before address and photo in this tab's storage

const editors = new WeakMap();

export default function (component) {
  const root = component.parentElement;
  if (!editors.has(root)) editors.set(root, makeEditor(root));
  const editor = editors.get(root);
  editor.send = component.setStateValue;       // these two belong to this run only
  editor.ask = component.setTriggerValue;
  editor.receive(component.data);
  return () => { editor.close(); editors.delete(root); };
}

function makeEditor(root) {
  const find = (selector) => root.querySelector(selector);
  const svg = find(".photo"), layer = find(".photo .layer"), loupe = find(".loupe");
  const pictures = root.querySelectorAll("image");
  const state = { photo: null, stamp: -1, regions: [], kind: "sound", shape: "box", selected: null, more: false };
  const fingers = new Map();
  let W = 1, H = 1;                            // of the upright photo, pixels
  let view = [0, 0, 1, 1];                     // x, y, width, height in those pixels
  let drag = null, spread = null, timer = null, sent = 0, nudged = false, drawing = false;
  let held = { stamp: -1, regions: [] };       // by Python
  let own = [];                                // edits since, which Python may not hold yet
  let origin = null;                           // what an edit that was resumed was made from, where Python holds other
  let kinds = [], more = [], words = {};
  let cornered = null;                         // kind whose corners move one by one; a photo holds one, as of the card
  const editor = { send: null, ask: null };

  // --- places -------------------------------------------------------------------------------------------------
  const unit = () => { const m = svg.getScreenCTM(); return m && m.a ? 1 / m.a : 1; };    // photo pixels in a CSS pixel
  const place = (event) => {
    const m = svg.getScreenCTM().inverse();
    return [event.clientX * m.a + m.e, event.clientY * m.d + m.f];
  };
  const inside = ([x, y]) => [Math.min(1, Math.max(0, x / W)), Math.min(1, Math.max(0, y / H))];
  const pixels = ([x, y]) => [x * W, y * H];
  const tidy = (points) => points.map((p) => p.map((v) => +v.toFixed(5)));
  const extent = (points) => {
    const xs = points.map((p) => p[0]), ys = points.map((p) => p[1]);
    return [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
  };
  const box = (a, b) => { const [l, t, r, d] = extent([a, b]); return [[l, t], [r, t], [r, d], [l, d]]; };
  const single = (kind) => kind === "card" || kind === cornered;
  const finger = () => matchMedia("(pointer: coarse)").matches;         // a phone has no keys
  const usual = () => kinds.find((kind) => kind !== "card") || kinds[0];
  const isBox = (points) => points.length === 4 &&
    [0, 1, 2, 3].every((i) => points[i][0] === points[(i + 1) % 4][0] || points[i][1] === points[(i + 1) % 4][1]);
  const shifted = (points, dx, dy) => {
    const [l, t, r, d] = extent(points);
    dx = Math.min(1 - r, Math.max(-l, dx)); dy = Math.min(1 - d, Math.max(-t, dy));
    return points.map(([x, y]) => [x + dx, y + dy]);
  };

  function look(x, y, width) {
    const w = Math.min(W, Math.max(W / CLOSEST, width)), h = w * H / W;
    view = [Math.min(W - w, Math.max(0, x)), Math.min(H - h, Math.max(0, y)), w, h];
    svg.setAttribute("viewBox", view.join(" "));
    draw();
  }
  function zoom([x, y], times) {
    const w = Math.min(W, Math.max(W / CLOSEST, view[2] / times)), k = w / view[2];
    look(x - (x - view[0]) * k, y - (y - view[1]) * k, w);
  }

  // --- draw ---------------------------------------------------------------------------------------------------
  function add(name, attributes, parent) {
    const node = document.createElementNS(SVG, name);
    for (const key in attributes) node.setAttribute(key, attributes[key]);
    parent.append(node);
    return node;
  }
  function outline(points, parent) {
    const corners = points.map(pixels).join(" ");
    add("polygon", { points: corners, class: "under" }, parent);
    add("polygon", { points: corners, class: "over" }, parent);
  }
  function label(region) {
    const same = state.regions.filter((r) => r.kind === region.kind);
    const word = words[region.kind] ? words[region.kind][1] : region.kind;
    return word + (same.length > 1 ? " " + (same.indexOf(region) + 1) : "") + (region.name ? ": " + region.name : "");
  }
  // Each label where it covers no other: above its mark, below, beside or inside. In a crowd the number alone stands for
  // it, but for the chosen one's.
  function placeLabels(u) {
    const texts = [...layer.querySelectorAll("text")], high = TEXT * u;
    const widths = texts.map((text) => text.getComputedTextLength());
    const order = texts.map((_, i) => i).sort((a, b) => (b === state.selected) - (a === state.selected));
    const places = (i, words, wide) => {
      const [l, t, r, d] = extent(state.regions[i].points.map(pixels)), middle = (t + d + 0.7 * high) / 2;
      return [[l + 3 * u, t - 8 * u], [l + 3 * u, d + 22 * u], [r - 3 * u - wide, t - 8 * u], [r - 3 * u - wide, d + 22 * u],
        [r + 8 * u, middle], [l - 8 * u - wide, middle], [l + 6 * u, t + 18 * u],
      ].map(([x, y]) => ({ words, x, y, l: x, t: y - high, r: x + wide, d: y + 0.35 * high }));
    };
    const seen = (one) =>
      one.l >= view[0] && one.r <= view[0] + view[2] && one.t >= view[1] && one.d <= view[1] + view[3];
    const apart = (one, other) => one.r <= other.l || other.r <= one.l || one.d <= other.t || other.d <= one.t;
    for (const crowd of [false, true]) {
      const taken = [];
      let room = true;
      for (const i of order) {
        const words = label(state.regions[i]), number = words.match(/ (\d+)$/);
        const full = places(i, words, widths[i]);
        const short = number ? places(i, number[1], 0.62 * high * number[1].length).reverse() : [];      // inside at first
        const tried = crowd && i !== state.selected ? [...short, ...full] : full, shown = tried.filter(seen);
        const best = shown.find((one) => taken.every((other) => apart(one, other)));
        room &&= best || !shown.length;
        taken.push(best || shown[0] || tried[0]);
        texts[i].textContent = taken.at(-1).words;
        texts[i].setAttribute("x", taken.at(-1).x); texts[i].setAttribute("y", taken.at(-1).y);
      }
      if (room) return;
    }
  }
  function drawKinds() {
    const marked = more.filter((kind) => kind === state.kind || state.regions.some((r) => r.kind === kind));
    const shown = [...kinds, ...(state.more ? more : marked)], group = find(".kinds");
    if (group.dataset.shown !== shown.join()) {
      group.dataset.shown = shown.join();
      group.replaceChildren(...shown.map((kind) => {
        const button = document.createElement("button");
        Object.assign(button, { type: "button", textContent: words[kind][0] });
        button.dataset.kind = kind;
        return button;
      }));
    }
    find(".more").toggleAttribute("hidden", more.length === marked.length);
    find(".more").setAttribute("aria-expanded", state.more);
    find(".more").textContent = state.more ? "Less" : "More";
  }
  function draw() {
    const hadFocus = layer.contains(svg.getRootNode().activeElement);
    const u = unit();
    drawing = true;
    layer.replaceChildren();
    drawing = false;
    state.regions.forEach((region, i) => {
      const selected = i === state.selected;
      const group = add("g", { class: region.kind + (selected ? " selected" : ""), "data-region": i, tabindex: 0,
        role: "button", "aria-label": label(region), "aria-pressed": selected }, layer);
      outline(region.points, group);
      add("text", { "font-size": TEXT * u, "stroke-width": 3.5 * u }, group).textContent = label(region);
      if (selected && (isBox(region.points) || single(region.kind))) region.points.forEach((p, corner) => {
        const [cx, cy] = pixels(p);
        add("circle", { cx, cy, r: GRIP * u, class: "grip", "data-corner": corner }, group);
        add("circle", { cx, cy, r: 7 * u, class: "dot" }, group);
      });
      if (selected && hadFocus) group.focus({ preventScroll: true });
    });
    placeLabels(u);
    if (drag && drag.draft) outline(drag.draft, add("g", { class: state.kind }, layer));
    drawKinds();
    for (const button of root.querySelectorAll("[data-kind]")) button.setAttribute("aria-pressed", button.dataset.kind === state.kind);
    for (const button of root.querySelectorAll("[data-shape]")) button.setAttribute("aria-pressed", button.dataset.shape === state.shape);
    find(".delete").disabled = state.selected === null;
    find(".out").disabled = find(".whole").disabled = view[2] >= W;
    svg.classList.toggle("move", state.shape === "move");
    // A finger may scroll the page only where it has nothing to move.
    svg.style.touchAction = state.shape === "move" && view[2] >= W && state.selected === null ? "pan-y" : "none";
    find(".help").textContent = help();
  }
  function help() {
    if (state.selected !== null) return label(state.regions[state.selected]) +
      ": drag to move it, drag a corner to change it." + (finger() ? "" : " Keys: arrows, Shift and arrows, Delete, Ctrl+Z.");
    if (state.shape === "move") return "Drag to look around. Two fingers or + and − zoom. Tap a shape to choose it.";
    return (state.shape === "box" ? "Drag across " : "Draw around ") + words[state.kind][2] + ". Tap a shape to choose it.";
  }
  function magnify(event) {
    const wanted = event && event.pointerType === "touch" && drag && !drag.look;
    loupe.toggleAttribute("hidden", !wanted);          // an SVG element has no property of that name
    if (!wanted) return;
    const [x, y] = place(event), r = 24 * unit(), frame = svg.getBoundingClientRect();
    const left = event.clientX < frame.left + frame.width / 2;
    loupe.classList.toggle("right", left); loupe.classList.toggle("left", !left);
    loupe.setAttribute("viewBox", [x - r, y - r, 2 * r, 2 * r].join(" "));
    const shape = drag.draft || state.regions[drag.region].points, group = loupe.querySelector("g");
    group.replaceChildren();
    outline(shape, group);
  }

  // --- say ----------------------------------------------------------------------------------------------------
  function commit() {
    // Where a clock was ahead, its stamp is ahead of every clock: other windows go on from it as well, each elsewhere.
    state.stamp = Math.max(state.stamp + 1 + Math.floor(1000 * Math.random()), Date.now());
    own.push({ stamp: state.stamp, regions: structuredClone(state.regions) });
    draw();
    tell(RESEND);
  }
  function tell(wait) {
    clearTimeout(timer);
    sent = Date.now();                         // travels along: the server takes no notice of a value it has already
    const from = [...(origin || [held]), ...own.slice(0, -1)];
    store({ stamp: state.stamp, regions: state.regions, from });
    editor.send("edit", { photo: state.photo, stamp: state.stamp, regions: state.regions, sent,
      bases: from.map((one) => one.stamp), was: from.flatMap((one) => one.regions), seen: from[0].regions.length });
    timer = setTimeout(() => { if (held.stamp < state.stamp) tell(Math.min(LONGEST, wait * 2)); }, wait);
  }
  const shelf = () => UNSAVED + location.pathname + location.search + " " + state.photo;
  function store(edit) {
    try { edit ? sessionStorage.setItem(shelf(), JSON.stringify(edit)) : sessionStorage.removeItem(shelf()); } catch { }
  }
  function resume(data) {
    let edit = null;
    try { edit = JSON.parse(sessionStorage.getItem(shelf())); } catch { }
    if (!edit || edit.stamp <= data.stamp) return store(null);
    origin = edit.from.some((one) => one.stamp === data.stamp) ? null : edit.from;
    own = [{ stamp: edit.stamp, regions: structuredClone(edit.regions) }];
    Object.assign(state, { stamp: edit.stamp, regions: edit.regions });
    tell(RESEND);
  }
  function touched(region) { delete region.auto; }      // found by the program, but corrected by hand

  editor.receive = (data) => {
    const known = [held, ...own];              // what the marks on the screen were made from
    if (data.photo === state.photo && (drag || data.stamp < state.stamp) && !known.some((one) => one.stamp === data.stamp))
      origin ??= drag ? known : known.slice(0, -1);
    held = { stamp: data.stamp, regions: structuredClone(data.regions) };
    own = data.photo === state.photo ? own.filter((edit) => edit.stamp > data.stamp) : [];
    ({ kinds, more, words, cornered } = data);
    const other = data.photo !== state.photo;
    if (other) {
      clearTimeout(timer);
      drag = spread = null; fingers.clear();
      W = data.width; H = data.height;
      for (const picture of pictures) { picture.setAttribute("width", W); picture.setAttribute("height", H); }
      svg.style.aspectRatio = W + " / " + H;
      view = [0, 0, W, H];
      svg.setAttribute("viewBox", view.join(" "));
      Object.assign(state, { photo: data.photo, stamp: -1, selected: null });
      origin = null;
    }
    for (const picture of pictures)
      if (picture.getAttribute("href") !== data.source) picture.setAttribute("href", data.source);
    if (data.stamp > state.stamp && !drag) {
      if (data.regions.length !== state.regions.length) state.selected = null;
      Object.assign(state, { stamp: data.stamp, regions: structuredClone(data.regions) });
    }
    if (other) resume(data);
    else if (data.stamp >= state.stamp) { origin = null; store(null); }
    else if (Date.now() - sent > RESEND) tell(RESEND);       // the connection is back
    // What is still to be marked comes first.
    if (other || ![...kinds, ...more].includes(state.kind))
      state.kind = kinds.find((kind) => !state.regions.some((r) => r.kind === kind)) || usual();
    draw();
  };

  // --- hands --------------------------------------------------------------------------------------------------
  svg.onpointerdown = (event) => {
    fingers.set(event.pointerId, event);
    if (fingers.size === 2) { undoDrag(); spread = gap(); return draw(); }
    if (fingers.size > 2 || event.button > 0) return;
    svg.setPointerCapture(event.pointerId);
    const at = inside(place(event)), group = event.target.closest("[data-region]");
    const hit = group ? +group.dataset.region : null, corner = event.target.dataset.corner;
    const still = { from: at, x: event.clientX, y: event.clientY, hit };
    if (corner !== undefined) drag = { ...still, region: hit, corner: +corner, before: state.regions[hit].points };
    else if (hit !== null && (state.shape === "move" || hit === state.selected)) {
      state.selected = hit;
      drag = { ...still, region: hit, before: state.regions[hit].points };
    } else if (state.shape === "move") drag = { ...still, look: [...view] };
    else drag = { ...still, draft: [at] };
    draw();
    magnify(event);
  };
  svg.onpointermove = (event) => {
    if (!fingers.has(event.pointerId)) return;
    fingers.set(event.pointerId, event);
    if (spread && fingers.size === 2) {
      const now = gap(), from = place({ clientX: spread.x, clientY: spread.y }), u = unit();
      look(view[0] - (now.x - spread.x) * u, view[1] - (now.y - spread.y) * u, view[2]);
      zoom(from, now.length / spread.length);
      spread = now;
      return;
    }
    if (!drag) return;
    const at = inside(place(event)), region = state.regions[drag.region];
    if (drag.look) {
      const u = unit();
      look(drag.look[0] - (event.clientX - drag.x) * u, drag.look[1] - (event.clientY - drag.y) * u, view[2]);
      return;
    }
    if (drag.corner !== undefined) region.points = isBox(drag.before) && region.kind !== cornered ? box(at, drag.before[(drag.corner + 2) % 4])
      : drag.before.map((p, i) => (i === drag.corner ? at : p));
    else if (region) region.points = shifted(drag.before, at[0] - drag.from[0], at[1] - drag.from[1]);
    else if (state.shape === "box") drag.draft = box(drag.from, at);
    else {
      const [x, y] = pixels(drag.draft.at(-1)), [nx, ny] = pixels(at);
      if (Math.hypot(nx - x, ny - y) > 4 * unit()) drag.draft.push(at);
    }
    draw();
    magnify(event);
  };
  svg.onpointerup = (event) => {
    if (!fingers.delete(event.pointerId)) return;
    if (fingers.size < 2) spread = null;
    const done = drag;
    drag = null;
    magnify(null);
    if (!done) return;
    const moved = Math.hypot(event.clientX - done.x, event.clientY - done.y), u = unit();
    if (done.draft) {
      const [l, t, r, d] = extent(done.draft);
      if ((r - l) * W < SMALLEST * u || (d - t) * H < SMALLEST * u) state.selected = done.hit;     // a tap chooses
      else return put(done.draft);
    } else if (done.look) { if (moved < SMALLEST) state.selected = null; }
    else if (moved > 0) {
      const region = state.regions[done.region];
      region.points = tidy(region.points);
      touched(region);
      return commit();
    }
    draw();
  };
  svg.onpointercancel = (event) => { fingers.delete(event.pointerId); spread = null; undoDrag(); draw(); };
  svg.onwheel = (event) => {
    if (!event.ctrlKey) return;                        // a plain wheel scrolls the page
    event.preventDefault();
    zoom(place(event), event.deltaY > 0 ? 0.8 : 1.25);
  };
  function gap() {
    const [a, b] = [...fingers.values()];
    return { x: (a.clientX + b.clientX) / 2, y: (a.clientY + b.clientY) / 2,
      length: Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY) || 1 };
  }
  function undoDrag() {
    if (drag && drag.before) state.regions[drag.region].points = drag.before;
    drag = null;
    magnify(null);
  }
  function put(points) {
    if (single(state.kind)) state.regions = state.regions.filter((r) => r.kind !== state.kind);
    state.regions.push({ kind: state.kind, points: tidy(points) });
    state.selected = state.regions.length - 1;
    if (state.kind === "card") state.kind = usual();
    commit();
  }
  function remove() {
    if (state.selected === null) return;
    state.regions.splice(state.selected, 1);
    state.selected = null;
    commit();
    svg.focus({ preventScroll: true });
  }

  // --- keys ---------------------------------------------------------------------------------------------------
  const STEPS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  // Not on the layer: Chromium would let Tab stop at any SVG element that listens for focus.
  find(".stage").addEventListener("focusin", (event) => {
    const group = event.target.closest("[data-region]");
    if (group && !drag && +group.dataset.region !== state.selected && event.target.matches(":focus-visible")) {
      state.selected = +group.dataset.region;
      draw();
    }
  });
  function settle() {                          // an arrow that is held down is one edit
    if (nudged) { nudged = false; commit(); }
  }
  svg.onkeyup = settle;
  svg.addEventListener("focusout", () => { if (!drawing) settle(); });     // a shape that is drawn anew loses focus too
  svg.onkeydown = (event) => {
    const step = STEPS[event.key], ctrl = event.ctrlKey || event.metaKey, letter = event.key.toLowerCase();
    if (ctrl && (letter === "z" || letter === "y")) { settle(); editor.ask("undo", letter === "y" || event.shiftKey ? "again" : "back"); }
    else if (event.key === "Escape") { undoDrag(); state.selected = null; draw(); svg.focus({ preventScroll: true }); }
    else if (event.key === "Delete" || event.key === "Backspace") remove();
    else if (event.key === "Enter" && state.selected === null) {
      const middle = [view[0] + view[2] / 2, view[1] + view[3] / 2], half = view[2] / 12;
      put(box(inside([middle[0] - half, middle[1] - half]), inside([middle[0] + half, middle[1] + half])));
    } else if (step && state.selected !== null) {
      const region = state.regions[state.selected], dx = 3 * unit() * step[0] / W, dy = 3 * unit() * step[1] / H;
      const [l, t, r, d] = extent(region.points);
      const grown = [Math.min(1, r + dx), Math.min(1, d + dy)];
      if (!event.shiftKey) region.points = tidy(shifted(region.points, dx, dy));
      else if (isBox(region.points) && grown[0] > l && grown[1] > t) region.points = tidy(box([l, t], grown));
      touched(region);
      nudged = true;
      draw();
    } else return;
    event.preventDefault();
  };

  // --- buttons ------------------------------------------------------------------------------------------------
  find(".bar").onclick = (event) => {
    const { kind, shape } = event.target.dataset;
    if (kind) { state.kind = kind; state.selected = null; if (state.shape === "move") state.shape = "box"; }
    if (shape) { state.shape = shape; state.selected = null; }
    if (event.target.matches(".more")) {
      state.more = !state.more;
      if (!state.more && more.includes(state.kind)) state.kind = usual();
    }
    draw();
  };
  const middle = () => [view[0] + view[2] / 2, view[1] + view[3] / 2];
  find(".in").onclick = () => zoom(middle(), 1.6);
  find(".out").onclick = () => zoom(middle(), 1 / 1.6);
  find(".whole").onclick = () => look(0, 0, W);
  find(".delete").onclick = remove;
  const watch = new ResizeObserver(() => draw());
  watch.observe(svg);
  editor.close = () => { watch.disconnect(); clearTimeout(timer); };
  return editor;
}
