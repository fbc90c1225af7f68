// Accessibility checks of our own, run inside the page. Returns sentences of what is wrong.
// Rules from memory of WCAG 2 level AA: 1.4.3 contrast, 1.1.1 names of pictures, 4.1.2 names of
// controls, 1.3.1 headings and landmarks, 2.5.8 targets (stricter here: wet hands).
(least) => {
  const wrong = [];
  const seen = e => {
    const r = e.getBoundingClientRect(), s = getComputedStyle(e);
    return r.width > 0 && r.height > 0 && s.visibility !== "hidden" && s.display !== "none";
  };
  const what = e => e.tagName.toLowerCase() + (e.id ? "#" + e.id : "") + " " + (e.textContent || "").trim().slice(0, 30);
  const nameOf = e => {
    const by = e.getAttribute("aria-labelledby");
    if (by) return by.split(" ").map(i => document.getElementById(i)?.textContent || "").join(" ").trim();
    if (e.getAttribute("aria-label")) return e.getAttribute("aria-label").trim();
    if (e.labels && e.labels.length) return [...e.labels].map(l => l.textContent).join(" ").trim();
    if (["INPUT", "SELECT", "TEXTAREA"].includes(e.tagName)) return "";
    return (e.textContent || "").trim() || (e.getAttribute("title") || "").trim();
  };
  // names
  for (const e of document.querySelectorAll("a[href],button,input,select,textarea,[role=button],[role=img],img,summary"))
    if (seen(e) && !nameOf(e)) wrong.push("no name: " + e.outerHTML.slice(0, 120));
  // ids
  const ids = {};
  for (const e of document.querySelectorAll("[id]")) ids[e.id] = (ids[e.id] || 0) + 1;
  for (const [id, n] of Object.entries(ids)) if (n > 1) wrong.push(`id ${id} is there ${n} times`);
  for (const l of document.querySelectorAll("label[for]"))
    if (!document.getElementById(l.htmlFor)) wrong.push("label for nothing: " + l.htmlFor);
  // landmarks and headings
  const one = (q, name) => { const n = [...document.querySelectorAll(q)].filter(seen).length; if (n !== 1) wrong.push(`${n} ${name} instead of one`); };
  one("main:not([role]),[role=main]", "main landmarks");
  one("body > header,[role=banner]", "banners");
  one("footer,[role=contentinfo]", "foots");
  one("h1", "first headings");
  for (const n of document.querySelectorAll("nav")) if (!nameOf(n) || !n.getAttribute("aria-label")) wrong.push("a nav without a name");
  let level = 0;
  for (const h of document.querySelectorAll("h1,h2,h3,h4")) {
    if (!seen(h)) continue;
    const now = Number(h.tagName[1]);
    if (level && now > level + 1) wrong.push(`heading jumps from ${level} to ${now}: ${what(h)}`);
    level = now;
  }
  if (!document.documentElement.lang) wrong.push("the page names no language");
  if (!document.title) wrong.push("the page has no title");
  for (const th of document.querySelectorAll("th")) if (!th.scope) wrong.push("th without scope: " + what(th));
  // targets
  for (const e of document.querySelectorAll("button,select,input:not([type=checkbox]),header a:not(.skip),summary,a.button")) {
    if (!seen(e)) continue;
    const r = e.getBoundingClientRect();
    if (r.height < least - 0.5 || r.width < least - 0.5) wrong.push(`small target ${Math.round(r.width)}x${Math.round(r.height)}: ${what(e)}`);
  }
  // contrast
  const parse = c => {
    const m = (c || "").match(/rgba?\(([^)]+)\)/);
    if (!m) return null;
    const p = m[1].split(/[,/ ]+/).map(Number);
    return [p[0], p[1], p[2], p.length > 3 ? p[3] : 1];
  };
  const over = (a, b) => [0, 1, 2].map(i => a[i] * a[3] + b[i] * (1 - a[3])).concat(1);
  const ground = e => {
    const layers = [];
    for (let n = e; n; n = n.parentElement) {
      const c = parse(getComputedStyle(n).backgroundColor);
      if (c && c[3] > 0) { layers.push(c); if (c[3] === 1) break; }
    }
    return layers.reverse().reduce((below, c) => over(c, below), [255, 255, 255, 1]);
  };
  const light = c => {
    const p = c.slice(0, 3).map(v => { v /= 255; return v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; });
    return 0.2126 * p[0] + 0.7152 * p[1] + 0.0722 * p[2];
  };
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  const told = new Set();
  while (walker.nextNode()) {
    const text = walker.currentNode.textContent.trim(), e = walker.currentNode.parentElement;
    if (!text || !e || !seen(e) || e.closest("script,style,option,.unseen,.skip,[disabled],[aria-hidden=true]")) continue;
    let dim = false;
    for (let n = e; n; n = n.parentElement) if (Number(getComputedStyle(n).opacity) < 1) dim = true;
    if (dim) continue; // what a chosen way leaves out is drawn faint on purpose
    const s = getComputedStyle(e), svg = e instanceof SVGElement;
    const fore = parse(svg ? s.fill : s.color);
    if (!fore) continue;
    const back = ground(e), ink = over(fore, back);
    const [a, b] = [light(ink), light(back)].sort((x, y) => y - x);
    const ratio = (a + 0.05) / (b + 0.05);
    const size = parseFloat(s.fontSize), big = !svg && (size >= 24 || (size >= 18.66 && Number(s.fontWeight) >= 700));
    if (ratio < (big ? 3 : 4.5)) {
      const line = `contrast ${ratio.toFixed(2)}: ${what(e)}`;
      if (!told.has(line)) { told.add(line); wrong.push(line); }
    }
  }
  return wrong;
}
