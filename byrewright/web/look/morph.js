// Puts a redrawn part into the page without touching what somebody types, opens or looks at.
(() => {
  if (window.byreMorph) return;
  const TYPED_MS = 3000;
  const typed = new WeakMap();
  document.addEventListener("input", e => typed.set(e.target, performance.now()), true);

  const alike = (a, b) => a.nodeType === b.nodeType && a.nodeName === b.nodeName && (a.id || "") === (b.id || "");
  const held = el => el === document.activeElement || performance.now() - (typed.get(el) ?? -1e9) < TYPED_MS;

  function children(from, to) {
    let at = from.firstChild;
    for (const b of [...to.childNodes]) {
      let found = null;
      if (b.nodeType === 1 && b.id) found = [...from.children].find(c => c.id === b.id && alike(c, b)) || null;
      else if (at && alike(at, b)) found = at;
      if (!found) { from.insertBefore(b, at); remember(b); continue; }
      // what stands between goes, so that an element with the focus is never moved
      while (at && at !== found) { const next = at.nextSibling; if (to.contains(at)) break; at.remove(); at = next; }
      if (at === found) at = at.nextSibling; else from.insertBefore(found, at);
      element(found, b);
    }
    while (at) { const next = at.nextSibling; at.remove(); at = next; }
  }
  function element(a, b) {
    if (a.nodeType !== 1) { if (a.nodeValue !== b.nodeValue) a.nodeValue = b.nodeValue; return; }
    if (a.dataset.sum) { if (a.dataset.sum !== b.dataset.sum) a.replaceWith(b); return; }
    const before = a.getAttribute("value"), checked = a.hasAttribute("checked");
    for (const { name } of [...a.attributes]) if (!b.hasAttribute(name) && !(a.nodeName === "DETAILS" && name === "open")) a.removeAttribute(name);
    for (const { name, value } of [...b.attributes]) if (a.getAttribute(name) !== value) a.setAttribute(name, value);
    if (a.nodeName === "TEXTAREA") { if (a.defaultValue !== b.defaultValue && !held(a)) a.value = b.defaultValue; return; }
    children(a, b);
    if (a.nodeName === "SELECT") { const i = [...a.options].findIndex(o => o.hasAttribute("selected")); if (a !== document.activeElement && i >= 0 && a.selectedIndex !== i) a.selectedIndex = i; }
    if (a.nodeName === "INPUT" && !held(a)) {
      if (a.type === "checkbox") { if (a.hasAttribute("checked") !== checked) a.checked = a.hasAttribute("checked"); }
      else if (a.getAttribute("value") !== before) a.value = a.getAttribute("value") || "";
    }
  }
  // what this device remembers, such as who acknowledges
  const key = el => `byre_${el.dataset.remember}`;
  function remember(root) {
    if (root.nodeType !== 1 && root.nodeType !== 11 && root !== document) return;
    const some = [...root.querySelectorAll("[data-remember]")];
    if (root.matches && root.matches("[data-remember]")) some.push(root);
    for (const el of some) try { if (!el.value) el.value = localStorage.getItem(key(el)) || ""; } catch { return; }
  }
  document.addEventListener("input", e => {
    if (e.target.dataset && e.target.dataset.remember) try { localStorage.setItem(key(e.target), e.target.value); } catch { return; }
  });
  window.byreMorph = {
    draw(id, html) {
      const box = document.getElementById(id);
      if (!box) return;
      const made = document.createElement("template");
      made.innerHTML = html;
      children(box, made.content);
      remember(box);
    },
    remember,
  };
  new MutationObserver(all => { for (const one of all) for (const n of one.addedNodes) if (n.nodeType === 1) remember(n); })
    .observe(document.documentElement, { childList: true, subtree: true });
})();
