// Figures that are typed and not saved are kept in this browser, and offered back.
(() => {
  if (window.byreKeep) return;
  const key = name => `byre_typed_${name}`;
  const box = () => document.querySelector("[data-keep]");
  const read = name => { try { return JSON.parse(localStorage.getItem(key(name)) || "{}"); } catch { return {}; } };
  const write = (name, values) => {
    try {
      if (Object.keys(values).length) localStorage.setItem(key(name), JSON.stringify(values));
      else localStorage.removeItem(key(name));
    } catch { return; }
  };
  function note(e) {
    const place = box(), t = e.target;
    if (!place || !t.dataset || ![t.dataset.change, t.dataset.input].includes("field") || !t.dataset.value) return;
    const value = t.type === "checkbox" ? (t.checked ? "yes" : "") : t.value;
    write(place.dataset.keep, { ...read(place.dataset.keep), [t.dataset.value]: value });
  }
  // what was there when the page was opened: what is typed on it now is no news to it
  const before = {};
  try { for (const k of Object.keys(localStorage)) if (k.startsWith(key(""))) before[k] = read(k.slice(key("").length)); } catch { /* then nothing is kept */ }
  document.addEventListener("input", note, true);
  document.addEventListener("change", note, true);
  window.byreKeep = { before: name => before[key(name)] || {}, write };
})();
