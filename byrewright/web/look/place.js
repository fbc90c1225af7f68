// A machine moved on the plan: by a finger, a mouse or the arrow keys. The answer comes by put().
(() => {
  if (window.byrePlace) return;
  const STEP = 0.05, BIG = 0.5, PAUSE_MS = 400, FEW_PX = 4, NARROW_PX = 900;
  let held = null, keyed = null;
  const grip = t => (t.closest ? t.closest(".drawing.plan [data-drag]") : null);
  const snap = v => Math.round(v / STEP) * STEP;
  const part = id => document.getElementById(id);

  // metres east and north of a step on the screen
  function metres(svg, px, py) {
    const k = svg.getScreenCTM().a * Number(svg.dataset.metre);
    return svg.dataset.turned ? [-py / k, -px / k] : [px / k, -py / k];
  }
  function show(g, east, north) {
    const svg = g.ownerSVGElement, k = Number(svg.dataset.metre);
    const [x, y] = svg.dataset.turned ? [-north * k, -east * k] : [east * k, -north * k];
    g.setAttribute("transform", `translate(${x} ${y})`);
    g.classList.add("moving");
    const per = Number(svg.dataset.per), told = v => `${v < 0 ? "−" : "+"}${Math.abs(v * per).toFixed(2)} ${svg.dataset.unit}`;
    part("place-step").textContent = `${g.dataset.machine} ${told(east)} / ${told(north)}`;
  }
  function back(g) { g.removeAttribute("transform"); g.classList.remove("moving"); part("place-step").textContent = ""; }
  function send(g, east, north) {
    const field = part("place-move");
    field.value = [g.dataset.machine, east.toFixed(3), north.toFixed(3)].join(" ");
    field.dispatchEvent(new Event("change", { bubbles: true }));
  }

  document.addEventListener("pointerdown", e => {
    const g = grip(e.target);
    if (!g || e.button || held) return;
    // a finger moves the sheet, until the machine under it is the one that was picked
    if (e.pointerType === "touch" && !g.classList.contains("picked")) return;
    e.stopPropagation();
    window.byre.dragged = false;
    held = { g, id: e.pointerId, x: e.clientX, y: e.clientY, east: 0, north: 0, moved: false };
    g.setPointerCapture(e.pointerId);
  }, true);
  document.addEventListener("pointermove", e => {
    if (!held || e.pointerId !== held.id) return;
    e.stopPropagation();
    const dx = e.clientX - held.x, dy = e.clientY - held.y;
    held.moved = held.moved || Math.hypot(dx, dy) > FEW_PX;
    if (!held.moved) return;
    [held.east, held.north] = metres(held.g.ownerSVGElement, dx, dy).map(snap);
    show(held.g, held.east, held.north);
  }, true);
  function lift(e, keep) {
    if (!held || e.pointerId !== held.id) return;
    e.stopPropagation();
    const { g, east, north, moved } = held;
    held = null;
    window.byre.dragged = moved;
    if (keep && moved && (east || north)) send(g, east, north); else back(g);
  }
  document.addEventListener("pointerup", e => lift(e, true), true);
  document.addEventListener("pointercancel", e => lift(e, false), true);

  function settle() {
    if (!keyed) return;
    const { g, east, north, timer } = keyed;
    clearTimeout(timer);
    keyed = null;
    if (east || north) send(g, east, north); else back(g);
  }
  document.addEventListener("keydown", e => {
    const g = grip(e.target);
    if (e.key === "Escape") {
      if (held) { back(held.g); held = null; }
      if (keyed) { clearTimeout(keyed.timer); back(keyed.g); keyed = null; }
      return;
    }
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[e.key];
    if (!g || !way) return;
    e.preventDefault(); e.stopPropagation();
    if (keyed && keyed.g !== g) settle();
    keyed = keyed || { g, east: 0, north: 0, timer: 0 };
    const by = e.shiftKey ? BIG : STEP, turned = g.ownerSVGElement.dataset.turned;
    const [east, north] = turned ? [way[1], -way[0]] : way;
    keyed.east = snap(keyed.east + east * by); keyed.north = snap(keyed.north + north * by);
    show(g, keyed.east, keyed.north);
    clearTimeout(keyed.timer);
    keyed.timer = setTimeout(settle, PAUSE_MS);
  }, true);
  document.addEventListener("focusout", e => { if (keyed && grip(e.target) === keyed.g) settle(); });

  window.byrePlace = {
    put(id, made) {
      const box = part(id);
      if (!box) return;
      const one = (kind, tag) => box.querySelector(`[data-${kind}="${CSS.escape(tag)}"]`);
      box.querySelectorAll("[data-pipe].fresh").forEach(g => g.classList.remove("fresh"));
      for (const [tag, [inner, label]] of Object.entries(made.machines)) {
        const g = one("machine", tag);
        if (g) { g.innerHTML = inner; g.setAttribute("aria-label", label); }
      }
      box.querySelectorAll(".moving").forEach(g => { if (!held || held.g !== g) back(g); });
      for (const [tag, inner] of Object.entries(made.pipes)) {
        const g = one("pipe", tag);
        if (g) { g.innerHTML = inner; g.classList.add("fresh"); }
      }
      box.dataset.answer = String(made.turn);
    },
    pick(id, tag, near) {
      const box = part(id);
      if (!box) return;
      box.querySelectorAll("[data-machine]").forEach(g => g.classList.toggle("picked", g.dataset.machine === tag));
      if (near && tag && box.clientWidth < NARROW_PX) window.byre.near(id, `machine ${tag}`);
    },
  };
})();
