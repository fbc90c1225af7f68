// Zoom and pan, marks on drawings, what a click means. No text, no numbers of the plant.
(() => {
  if (window.byre) return;
  const views = new Map();
  const LEAST = 0.25, MOST = 12, READABLE = 5.4, CROWDED = 2.9, LETTERS_PX = 12, NARROW_PX = 900, NARROW = 2.5, WHOLE = 0.95, MOST_MM = 5, PAPER_MM = 3.6, EDGE_MM = 3;
  const LETTERS = 100, SYMBOL = 20, PIPE = 1.5, CAPITAL = 0.73; // weights of what a reading touches; height of letters, em

  function view(box) {
    const svg = box.querySelector("svg");
    const known = views.get(box);
    if (known && known.svg === svg) return known;
    const [, , w, h] = svg.dataset.size.split(" ").map(Number);
    const made = { svg, w, h, x: 0, y: 0, s: 1 };
    views.set(box, made);
    fit(box, made);
    return made;
  }
  function fit(box, v, whole) {
    const r = box.getBoundingClientRect();
    v.unit = Math.min(r.width / v.w, r.height / v.h);
    // on a narrow screen a part of the sheet that can be read, not the whole that cannot; of a plan
    // the whole, since one looks for a place. A sheet has room at its edge: far letters are large.
    const plan = box.classList.contains("plan"), all = plan ? 1 : WHOLE;
    v.s = whole || r.width > NARROW_PX || plan ? all : Math.max(all, NARROW / v.unit);
    const k = v.unit * v.s;
    v.x = v.s > all ? -EDGE_MM : (v.w - r.width / k) / 2;
    v.y = (v.h - r.height / k) / 2;
    put(box, v);
  }
  // Every line of the chart under the pointer as it is drawn at x. The chart itself tells only lines
  // that have a point just there, and lines are thinned each by itself.
  let chart = null;
  for (const kind of ["pointermove", "pointerdown"])
    document.addEventListener(kind, e => { chart = e.target.closest && e.target.closest(".nicegui-echart"); }, true);
  function there(x) {
    const model = chart && getElement(Number(chart.id.slice(1)))?.chart?.getModel(), lines = [];
    if (!model) return null;
    model.eachSeries(one => {
      const data = one.getData(), [across, up] = ["x", "y"].map(d => data.mapDimension(d)), many = data.count();
      let low = 0, high = many - 1; // the last point at or before x
      while (low < high) { const mid = (low + high + 1) >> 1; if (data.get(across, mid) <= x) low = mid; else high = mid - 1; }
      const [x0, x1] = [low, Math.min(low + 1, many - 1)].map(i => data.get(across, i)), [y0, y1] = [low, Math.min(low + 1, many - 1)].map(i => data.get(up, i));
      if (many && x >= x0) lines.push([one.componentIndex, one.name, x > x0 && x1 > x0 ? y0 + (y1 - y0) * (x - x0) / (x1 - x0) : x > x1 ? null : y0]);
    });
    return lines;
  }
  // another size of the window, or a keyboard on the screen: what is looked at stays in the middle
  function again(box) {
    const v = view(box), before = v.unit * v.s, r = box.getBoundingClientRect();
    if (printing || !r.width || !r.height || (r.width === v.rw && r.height === v.rh)) return;
    const mx = v.x + v.rw / before / 2, my = v.y + v.rh / before / 2;
    v.unit = Math.min(r.width / v.w, r.height / v.h);
    v.s = before / v.unit;
    v.x = mx - r.width / before / 2; v.y = my - r.height / before / 2;
    put(box, v);
  }
  function put(box, v) {
    const r = box.getBoundingClientRect();
    const k = v.unit * v.s;
    v.rw = r.width; v.rh = r.height;
    const w = r.width / k, h = r.height / k;
    v.x = Math.max(-w * 0.6, Math.min(v.w - w * 0.4, v.x));
    v.y = Math.max(-h * 0.6, Math.min(v.h - h * 0.4, v.y));
    v.svg.setAttribute("viewBox", `${v.x} ${v.y} ${w} ${h}`);
    box.classList.toggle("far", k < READABLE);
    box.classList.toggle("farther", k < CROWDED);
    v.svg.style.setProperty("--tag", Math.max(2.6, Math.min(MOST_MM, LETTERS_PX / k)) + "px");
    const mute = r.width <= NARROW_PX && MOST_MM * k < LETTERS_PX * 0.97; // letters then have no size
    box.classList.toggle("mute", mute);
    if (v.read !== k || v.mute !== mute) { v.read = k; v.mute = mute; readings(box, v); }
  }
  function zoom(box, factor, cx, cy) {
    const v = view(box), r = box.getBoundingClientRect();
    const px = cx === undefined ? r.width / 2 : cx - r.left, py = cy === undefined ? r.height / 2 : cy - r.top;
    const before = v.unit * v.s;
    v.s = Math.max(LEAST, Math.min(MOST, v.s * factor));
    const after = v.unit * v.s;
    v.x += px / before - px / after;
    v.y += py / before - py / after;
    put(box, v);
  }
  function pan(box, dx, dy) {
    const v = view(box), k = v.unit * v.s;
    v.x -= dx / k; v.y -= dy / k; put(box, v);
  }
  // The readings of a vessel stand as near to it as they touch no letters, no other reading and no
  // symbol, and, where there is a choice, no pipe. Letters grow when the sheet is far: see put().
  function readings(box, v) {
    const own = [...v.svg.querySelectorAll("[data-machine]")].filter(g => g.querySelector(":scope > .reading"));
    const m = v.svg.getScreenCTM();
    if (!own.length || !m || !m.a) return;
    const area = r => ({ x: (r.left - m.e) / m.a, y: (r.top - m.f) / m.a, w: r.width / m.a, h: r.height / m.a });
    const grown = (r, by) => ({ x: r.x - by, y: r.y - by, w: r.w + 2 * by, h: r.h + 2 * by });
    const shared = (a, b) => Math.max(0, Math.min(a.x + a.w, b.x + b.w) - Math.max(a.x, b.x)) * Math.max(0, Math.min(a.y + a.h, b.y + b.h) - Math.max(a.y, b.y));
    const taken = [];
    const take = (kind, r, by) => { if (r.width || r.height) taken.push([kind, grown(area(r), by)]); };
    v.svg.querySelectorAll("text:not(.reading)").forEach(t => take(LETTERS, t.getBoundingClientRect(), 0));
    v.svg.querySelectorAll(".symbol").forEach(g => take(SYMBOL, g.getBoundingClientRect(), 0.3));
    v.svg.querySelectorAll("circle").forEach(c => { if (!c.closest(".symbol")) take(SYMBOL, c.getBoundingClientRect(), 0.3); });
    v.svg.querySelectorAll(".hit").forEach(line => {
      const p = [...line.points];
      p.slice(1).forEach((b, i) => taken.push([PIPE, grown({ x: Math.min(p[i].x, b.x), y: Math.min(p[i].y, b.y), w: Math.abs(p[i].x - b.x), h: Math.abs(p[i].y - b.y) }, 0.4)]));
    });
    for (const g of own) {
      const texts = [...g.querySelectorAll(":scope > .reading")], s = area(g.querySelector(".symbol").getBoundingClientRect());
      const em = parseFloat(getComputedStyle(texts[0]).fontSize), line = 1.1 * em;
      const w = Math.max(...texts.map(t => t.getComputedTextLength())), h = line * (texts.length - 1) + CAPITAL * em;
      let best = null;
      for (let i = -6; i <= 6; i++) for (let j = -8; j <= 8; j++) {
        const at = { x: s.x + s.w / 2 - w / 2 + i * (s.w + w) / 8, y: s.y + s.h / 2 - h / 2 + j * (s.h + h) / 8, w, h };
        const wide = grown(at, 0.25 * em);
        // one letter touched is worse than any way off; above is where one looks for it
        let cost = Math.hypot(at.x + w / 2 - s.x - s.w / 2, 0.7 * (at.y + h / 2 - s.y - s.h / 2)) + (j > 0 ? 2 : 0);
        for (const [kind, r] of taken) if (cost < (best ? best.cost : Infinity)) cost += kind * shared(wide, r);
        if (!best || cost < best.cost) best = { cost, at };
      }
      taken.push([LETTERS, best.at]);
      texts.forEach((t, i) => { t.setAttribute("x", best.at.x + w / 2); t.setAttribute("y", best.at.y + h - i * line); });
    }
  }
  function each(what) { document.querySelectorAll(".drawing").forEach(box => { if (box.querySelector("svg")) what(box); }); }

  let drag = null; const touches = new Map();
  document.addEventListener("pointerdown", e => {
    const box = e.target.closest && e.target.closest(".drawing");
    if (!box || e.target.closest(".tools")) return;
    touches.set(e.pointerId, e);
    drag = { box, x: e.clientX, y: e.clientY, moved: 0 };
  });
  document.addEventListener("pointermove", e => {
    if (!drag || !touches.has(e.pointerId)) return;
    if (touches.size === 2) {
      const [a, b] = [...touches.values()];
      const was = Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY);
      touches.set(e.pointerId, e);
      const [c, d] = [...touches.values()];
      const now = Math.hypot(c.clientX - d.clientX, c.clientY - d.clientY);
      if (was > 0) zoom(drag.box, now / was, (c.clientX + d.clientX) / 2, (c.clientY + d.clientY) / 2);
      drag.moved = 99; return;
    }
    touches.set(e.pointerId, e);
    const dx = e.clientX - drag.x, dy = e.clientY - drag.y;
    drag.moved += Math.abs(dx) + Math.abs(dy);
    if (drag.moved > 5) pan(drag.box, dx, dy);
    drag.x = e.clientX; drag.y = e.clientY;
  });
  const lift = e => { touches.delete(e.pointerId); if (!touches.size && drag) { window.byre.dragged = drag.moved > 5; drag = null; } };
  document.addEventListener("pointerup", lift);
  document.addEventListener("pointercancel", lift);
  document.addEventListener("click", e => {
    if (window.byre.dragged && e.target.closest(".drawing")) { e.stopPropagation(); e.preventDefault(); }
    window.byre.dragged = false;
    const tool = e.target.closest && e.target.closest("[data-zoom]");
    if (tool) {
      const box = tool.closest(".drawing"), f = Number(tool.dataset.zoom);
      if (f) zoom(box, f); else fit(box, view(box), true);
    }
    if (e.target.closest && e.target.closest("[data-print]")) window.print();
  }, true);
  document.addEventListener("wheel", e => {
    const box = e.target.closest && e.target.closest(".drawing");
    if (!box || !(e.ctrlKey || e.metaKey || document.activeElement === box || box.contains(document.activeElement))) return;
    e.preventDefault(); zoom(box, Math.exp(-e.deltaY / 400), e.clientX, e.clientY);
  }, { passive: false });
  document.addEventListener("keydown", e => {
    const t = e.target;
    const box = t.closest && t.closest(".drawing");
    if (!box) return;
    if ((e.key === "Enter" || e.key === " ") && t.matches("[data-act]:not(button)")) {
      e.preventDefault(); t.dispatchEvent(new MouseEvent("click", { bubbles: true })); return;
    }
    const step = { ArrowLeft: [60, 0], ArrowRight: [-60, 0], ArrowUp: [0, 60], ArrowDown: [0, -60] }[e.key];
    if (step) { e.preventDefault(); pan(box, ...step); }
    if (e.key === "+" || e.key === "=") zoom(box, 1.25);
    if (e.key === "-") zoom(box, 0.8);
    if (e.key === "0") fit(box, view(box), true);
  });
  // what is wider than its place shows the moment that is meant
  function follow(box) {
    if (box.followed === box.dataset.now) return;
    box.followed = box.dataset.now;
    box.scrollLeft = box.dataset.now * box.scrollWidth - box.clientWidth / 2;
  }
  // a control that is drawn anew keeps the focus it had
  let last = "";
  document.addEventListener("focusin", e => { last = e.target.id || ""; });
  new MutationObserver(() => {
    document.querySelectorAll("main.q-page:not([role])").forEach(m => m.setAttribute("role", "presentation"));
    each(view);
    document.querySelectorAll(".strip[data-now]").forEach(follow);
    if (last && document.activeElement === document.body) {
      const again = document.getElementById(last);
      if (again) again.focus({ preventScroll: true });
    }
  }).observe(document.documentElement, { childList: true, subtree: true });
  window.addEventListener("beforeunload", e => {
    const save = document.querySelector("#save.unsaved");
    if (save && !save.disabled) e.preventDefault();
  });
  // a keyboard on the screen leaves less of the window, and the page as it was
  let wide = 0, high = 0;
  function measure() {
    const typing = document.activeElement && document.activeElement.matches("input,select,textarea");
    if (typing && window.innerWidth === wide && window.innerHeight < high) return;
    wide = window.innerWidth; high = window.innerHeight;
    document.documentElement.style.setProperty("--high", `${high}px`);
  }
  measure();
  window.addEventListener("resize", () => { measure(); each(again); });
  // On paper: the whole of each drawing, whatever is looked at on the screen; everything opened; and
  // on every sheet what it is of, the state of the file and the date here.
  let printing = false;
  function paper(box) {
    const v = view(box), w = v.w * (1 - WHOLE) / 2, h = v.h * (1 - WHOLE) / 2;
    v.svg.setAttribute("viewBox", `${-w} ${-h} ${v.w + 2 * w} ${v.h + 2 * h}`);
    box.classList.add("far"); box.classList.remove("mute", "farther");
    v.svg.style.setProperty("--tag", PAPER_MM + "px");
    readings(box, v);
  }
  window.addEventListener("beforeprint", () => {
    printing = true;
    each(paper);
    const now = new Date(), pad = n => String(n).padStart(2, "0");
    document.querySelectorAll(".printed").forEach(p => { p.textContent = `${now.getFullYear()}-${pad(now.getMonth() + 1)}-${pad(now.getDate())}`; });
    document.querySelectorAll("details:not([open])").forEach(d => { d.open = true; d.dataset.opened = ""; });
    const foot = document.querySelector(".foot[data-paper]"), line = document.querySelector(".printed-line");
    const practice = document.querySelector("div.practice"), of = `${practice ? practice.textContent.split(".")[0] + ": " : ""}${foot ? foot.dataset.paper : ""}`;
    const style = document.getElementById("paper") || document.head.appendChild(document.createElement("style"));
    style.id = "paper";
    style.textContent = foot ? `@page{@bottom-left{content:${JSON.stringify(of)}}@bottom-right{content:${JSON.stringify(line.textContent + "   ")} counter(page) " / " counter(pages)}}` : "";
  });
  window.addEventListener("afterprint", () => {
    printing = false;
    each(box => { const v = view(box); v.read = 0; put(box, v); });
    document.querySelectorAll("details[data-opened]").forEach(d => { d.open = false; delete d.dataset.opened; });
  });

  window.byre = {
    dragged: false,
    mark(id, marks) {
      const box = document.getElementById(id);
      if (!box) return;
      box.classList.toggle("flows", !!marks.flows);
      const kinds = ["flow", "picked", "turned", "hurt", "fails", "standing", "back"];
      box.querySelectorAll("[data-pipe],[data-machine]").forEach(g => {
        const key = g.dataset.pipe ? "pipe " + g.dataset.pipe : "machine " + g.dataset.machine;
        for (const k of kinds) g.classList.toggle(k, (marks[k] || []).includes(key) || (k === "hurt" && !!g.dataset.key && (marks.hurt || []).includes("key " + g.dataset.key)));
      });
      for (const [key, label] of Object.entries(marks.labels || {}))
        box.querySelectorAll(`[data-key="${CSS.escape(key)}"]`).forEach(g => { g.dataset.label = label; g.setAttribute("aria-label", label); });
      if (marks.held) this.held(box, marks.held);
      for (const [key, inner] of Object.entries(marks.symbols || {}))
        box.querySelectorAll(`[data-key="${CSS.escape(key)}"] .symbol`).forEach(s => { s.innerHTML = inner; });
    },
    held(box, vessels) {
      box.querySelectorAll("[data-machine]").forEach(g => {
        const one = vessels[g.dataset.machine], symbol = g.querySelector(".symbol");
        g.querySelectorAll(".level,.reading").forEach(x => x.remove());
        if (!one || !symbol || !g.dataset.key || g.tabIndex < 0) return;
        g.dataset.label = g.dataset.label || g.getAttribute("aria-label");
        // seen and said in the same order: tag, readings, then the words that show from near
        const label = g.dataset.label, tag = label.startsWith(g.dataset.tag) ? g.dataset.tag : "";
        const told = [one.warm, one.text].filter(x => x);
        g.setAttribute("aria-label", [tag, ...told].filter(x => x).join(" ") + (tag ? "" : " ") + label.slice(tag.length));
        let last = g.querySelector(":scope > .tag") || g.lastChild;
        const b = symbol.getBBox(), ns = "http://www.w3.org/2000/svg";
        const r = document.createElementNS(ns, "rect");
        for (const [k, v] of Object.entries({ class: "level", x: b.x, width: b.width, y: b.y + b.height * (1 - one.share), height: b.height * one.share })) r.setAttribute(k, v);
        symbol.after(r);
        for (const text of told) {
          const t = document.createElementNS(ns, "text");
          t.setAttribute("class", "reading"); t.setAttribute("text-anchor", "middle");
          t.textContent = text; last.after(" ", t); last = t;
        }
      });
      readings(box, view(box));
    },
    // what a timeline says of a moment, with its time of day; points are [hours, value]
    tip(points, units, begins, across) {
      if (!points.length) return "";
      const x = points[0].value[0], at = Math.round(begins + x * 60), pad = n => String(n).padStart(2, "0");
      const box = document.createElement("div"), head = document.createElement("b");
      const told = n => String(Math.abs(n) < 1000 ? Number(n.toPrecision(4)) : Math.round(n));
      head.textContent = begins === null ? `${across} ${told(x)}` : `${pad(Math.floor(at / 60) % 24)}:${pad(at % 60)}`;
      box.append(head);
      for (const [i, name, y] of there(x) || points.map(p => [p.seriesIndex, p.seriesName, p.value[1]])) {
        if (y === null || y === undefined || isNaN(y)) continue;
        const line = document.createElement("div");
        line.textContent = `${name} ${told(y)} ${units[i]}`.trim();
        box.append(line);
      }
      return box.outerHTML;
    },
    wrong(told) {
      for (const [id, text] of Object.entries(told)) {
        const field = document.getElementById(id), place = document.getElementById(id + "-wrong");
        if (place) place.textContent = text;
        if (field) field.setAttribute("aria-invalid", text ? "true" : "false");
      }
    },
    slide(id, value, text) {
      const one = document.getElementById(id);
      if (one && value !== null) one.value = value;
      if (one) one.setAttribute("aria-valuetext", text);
    },
    top() { if (window.matchMedia("(max-width:1099px)").matches) window.scrollTo({ top: 0 }); },
    into(where) {
      const part = document.querySelector(where);
      if (part && part.getBoundingClientRect().top > window.innerHeight * 0.6) part.scrollIntoView({ block: "start" });
    },
    near(id, key) {
      const box = document.getElementById(id), [kind, tag] = key.split(" ");
      const g = box && box.querySelector(`[data-${kind}="${CSS.escape(tag)}"]`);
      if (!g) return;
      const v = view(box), b = g.getBBox(), r = box.getBoundingClientRect();
      v.s = Math.max(v.s, READABLE / v.unit);
      const k = v.unit * v.s;
      v.x = b.x + b.width / 2 - r.width / k / 2; v.y = b.y + b.height / 2 - r.height / k / 2;
      put(box, v);
    },
    fit(id) { const box = document.getElementById(id); if (box) fit(box, view(box)); },
  };
})();
