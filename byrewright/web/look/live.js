// What is heard each second, and what is said when nothing is heard. Texts come with the page.
(() => {
  if (window.byreLive) return;
  const EVERY_MS = 1000, SILENT_MS = 3000, GIVE_UP_MS = 2500, BEEP_MS = 2000, OPENING_MS = 15000;
  let now = null, title = "", wrong = false, sound = false, tone = null;
  const clocks = () => [performance.now(), Date.now()];
  let heard = clocks(), joined = clocks(), met = false;
  // the longer of two clocks: one may sleep with the computer, the other may be set back
  const since = then => Math.max(performance.now() - then[0], Date.now() - then[1]);
  // what the page shows comes over the socket: without it the page is as old, whatever else answers
  function silence() {
    const link = window.socket, opening = !met && performance.now() < OPENING_MS;
    if (!link || link.connected || opening) joined = clocks();
    met = met || !!link && link.connected;
    return Math.max(since(heard), since(joined));
  }
  const part = id => document.getElementById(id);
  const fill = (text, words) => text.replace(/\{(\w+)\}/g, (_, key) => words[key]);

  async function ask() {
    const box = part("live"), stop = new AbortController();
    const late = setTimeout(() => stop.abort(), GIVE_UP_MS);
    try {
      const answer = await fetch(`/live?p=${encodeURIComponent(box.dataset.plant)}`, { cache: "no-store", signal: stop.signal });
      if (answer.status === 401) { leave(); return; }
      if (!answer.ok) throw new Error();
      now = await answer.json();
      heard = clocks();
      show(box);
    } catch { /* said by check */ } finally { clearTimeout(late); }
    check();
    setTimeout(ask, EVERY_MS);
  }
  function leave() {
    window.dispatchEvent(new Event("byre-leave"));
    location.replace("/log-in");
  }
  function show(box) {
    const told = part("told");
    if (told.dataset.html !== now.html) { told.dataset.html = now.html; told.innerHTML = now.html; }
    title = now.title; wrong = now.wrong; sound = now.sound;
    part("changed").hidden = !box.dataset.state || !now.state || now.state === box.dataset.state || !!document.querySelector("[data-own-conflict]");
    part("sound").hidden = !(now.html || wanted());
  }
  function check() {
    const box = part("live"), quiet = silence() > SILENT_MS, place = part("silent");
    document.documentElement.classList.toggle("silent", quiet);
    if (quiet) {
      const text = fill(box.dataset.silent, { s: Math.round(silence() / 1000), clock: new Date(Date.now() - silence()).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", second: "2-digit", hour12: false }) });
      if (place.textContent !== text) place.textContent = text;
    }
    place.hidden = !quiet;
    const mark = quiet ? box.dataset.titleSilent : title;
    const plain = document.title.replace(/^\u2062.*?\u2062 /, "");
    const full = mark ? `\u2062${mark}\u2062 ${plain}` : plain;
    if (document.title !== full) document.title = full;
    label();
  }
  // sound: wished on this device, and allowed by the browser after a touch
  const wanted = () => { try { return localStorage.getItem("byre_sound") === "on"; } catch { return false; } };
  function label() {
    const box = part("live"), button = part("sound");
    const ready = tone && tone.state === "running";
    const text = !wanted() ? box.dataset.soundOff : ready ? box.dataset.soundOn : box.dataset.soundAsk;
    if (button.textContent !== text) button.textContent = text;
    button.setAttribute("aria-pressed", String(wanted()));
  }
  function allow() {
    if (!wanted()) return Promise.resolve();
    tone = tone || new AudioContext();
    return tone.resume().then(label);
  }
  function beep() {
    if (wanted() && (sound || silence() > SILENT_MS)) ring();
  }
  function ring() {
    if (!tone || tone.state !== "running") return;
    const one = tone.createOscillator(), loud = tone.createGain();
    one.frequency.value = 880; loud.gain.value = 0.4;
    one.connect(loud).connect(tone.destination);
    one.start(); one.stop(tone.currentTime + 0.35);
  }
  function begin() {
    const box = part("live");
    if (!box) return;
    title = box.dataset.title;
    part("sound").addEventListener("click", () => {
      const on = wanted() && tone && tone.state === "running";
      try { localStorage.setItem("byre_sound", on ? "off" : "on"); } catch { /* then for this page only */ }
      allow().then(() => { if (!on) ring(); }); // heard at once, so that its loudness can be set
      label();
    });
    document.addEventListener("pointerdown", allow);
    document.addEventListener("keydown", allow);
    document.addEventListener("click", e => {
      if (e.target.closest("[data-reload]")) { e.preventDefault(); location.reload(); }
    });
    const here = document.querySelector(".top [aria-current=page]");
    if (here) here.closest(".top").scrollLeft = here.offsetLeft - 40;
    setInterval(check, 500); setInterval(beep, BEEP_MS);
    ask();
  }
  // a page that saved the files itself knows them as they are
  window.byreLive = { silence, known(state) { part("live").dataset.state = state; part("changed").hidden = true; } };
  if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", begin); else begin();
})();
