// A file brought to a page: its bytes go to the address that the field names, and what they are kept
// under goes into another field, which tells the page.
(() => {
  if (window.byreBring) return;
  window.byreBring = true;
  document.addEventListener("change", async e => {
    const field = e.target, to = field.dataset && field.dataset.bring;
    if (!to || !field.files || !field.files.length) return;
    const file = field.files[0];
    field.setCustomValidity("");
    const answer = await fetch(`${to}?name=${encodeURIComponent(file.name)}`, { method: "POST", body: file });
    if (!answer.ok) {
      field.setCustomValidity(field.dataset.large);
      field.reportValidity();
      return;
    }
    const told = document.getElementById(field.dataset.to);
    told.value = (await answer.json()).key;
    told.dispatchEvent(new Event("change", { bubbles: true }));
  }, true);
})();
